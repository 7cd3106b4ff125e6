// On every page: the count of what was not sent, sending it, and keeping the forms for later.
// On a page that was kept: a number and a time of its own, and what the address fills in.
(function () {
  "use strict";
  const TRY_AGAIN_MS = 15 * 1000;
  if (!("serviceWorker" in navigator) || !window.indexedDB) return;
  const person = Number(document.body.dataset.person || 0);
  const isKept = "kept" in document.body.dataset;

  async function count() {
    const line = document.querySelector(".unsent");
    if (!line) return;
    const forms = await Waiting.waiting();
    const others = forms.filter((form) => form.person !== person).length;
    const words = "Kept on this phone: " + forms.length + " not sent" +
      (others ? ", " + others + " of somebody else" : "");
    if (line.textContent.trim() === (forms.length ? words : "")) return;
    line.replaceChildren();
    if (!forms.length) return;
    const link = document.createElement("a");
    link.href = line.dataset.href;
    link.textContent = words;
    line.append(link);
  }

  async function send() {
    const state = await Waiting.send();
    document.dispatchEvent(new CustomEvent("ledger-sent", { detail: state }));
  }

  // The farm's own clock, as a form writes it: 2026-09-07T08:00.
  function farmTime(zone) {
    const parts = new Intl.DateTimeFormat("en-GB", {
      timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit",
      hour: "2-digit", minute: "2-digit", hourCycle: "h23",
    }).formatToParts(new Date());
    const said = Object.fromEntries(parts.map((part) => [part.type, part.value]));
    return said.year + "-" + said.month + "-" + said.day + "T" + said.hour + ":" + said.minute;
  }

  function renew(form) {
    const number = form.elements.namedItem("uuid");
    const when = form.elements.namedItem("when");
    if (number) number.value = crypto.randomUUID();
    if (when) when.value = farmTime(document.body.dataset.zone);
  }

  function fillIn(form) {
    for (const [name, value] of new URLSearchParams(location.search)) {
      const field = form.elements.namedItem(name + "_list") || form.elements.namedItem(name);
      const boxes = form.querySelectorAll("input[type=checkbox][name='" + CSS.escape(name) + "']");
      boxes.forEach((box) => { if (box.value === value) box.checked = true; });
      if (boxes.length || !field || field.type === "hidden" || !("value" in field)) continue;
      field.value = value;
      const typed = form.elements.namedItem(name + "_code");
      if (typed && field.value !== value) typed.value = value;
    }
  }

  function mark() {
    const said = document.createElement("p");
    said.className = "caution";
    said.textContent = "No signal. This form was kept on this phone; what you record waits here " +
      "until there is one.";
    document.querySelector("main h1").after(said);
  }

  async function keepPages() {
    const registration = await navigator.serviceWorker.ready;
    registration.active.postMessage(person ? { keepFor: person } : { forget: true });
  }

  async function begin() {
    if (isKept) {
      document.querySelectorAll("main form[method=post]").forEach((form) => {
        renew(form);
        fillIn(form);
      });
      if (document.querySelector("main form")) mark();
    }
    new BroadcastChannel("ledger").onmessage = count;
    document.addEventListener("ledger-changed", count);
    // A page that the browser kept whole and shows again has an old number: it gets a new one
    // only where its own was kept on this phone meanwhile, which keep() looks after.
    window.addEventListener("pageshow", count);
    await count();
    await navigator.serviceWorker.register("/worker.js");
    window.addEventListener("online", send);
    setInterval(async () => { if ((await Waiting.waiting()).length) send(); }, TRY_AGAIN_MS);
    if (!isKept) await keepPages();
    await send();
  }

  begin().catch(() => {});
})();
