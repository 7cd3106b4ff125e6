// The page of what was not sent: drawn from this phone alone.
(function () {
  "use strict";
  if (!window.indexedDB || !window.caches) return;
  const HIDDEN = ["uuid"];
  const STATES = {
    "no signal": "There is no signal now. Everything stays here and is sent when there is one.",
    "signed out": "The sign-in has ended. Sign in again; everything stays here until then.",
    "": "",
  };
  const by = (id) => document.getElementById(id);

  // The form as it was kept names its fields and choices in words.
  async function formOf(address) {
    const found = await Waiting.keptFor(new URL(address, location));
    return found ? new DOMParser().parseFromString(await found.text(), "text/html") : null;
  }

  function labelOf(page, name) {
    const field = page && page.querySelector("main form [name='" + CSS.escape(name) + "']");
    const around = field && field.closest(".field, .draw");
    const label = around && around.querySelector("label, legend");
    return label ? label.textContent.trim() : name.replaceAll("_", " ");
  }

  function wordsOf(page, name, value) {
    const field = page && page.querySelector(
      "main form select[name='" + CSS.escape(name) + "'] option[value='" + CSS.escape(value) + "']");
    return field ? field.textContent.trim() : value.replace("T", " ");
  }

  function fact(label, words) {
    const pair = document.createElement("div");
    const name = document.createElement("dt");
    const value = document.createElement("dd");
    name.textContent = label;
    value.textContent = words;
    pair.append(name, value);
    return pair;
  }

  async function drawn(form, person) {
    const page = await formOf(form.address);
    const part = by("one-waiting").content.cloneNode(true).firstElementChild;
    const title = page && page.querySelector("main h1");
    part.querySelector("h2").textContent = title ? title.textContent.trim() : form.address;
    const facts = part.querySelector("dl");
    form.values
      .filter(([name, value]) => value && !HIDDEN.includes(name))
      .forEach(([name, value]) => facts.append(fact(labelOf(page, name), wordsOf(page, name, value))));
    facts.append(fact("Kept on this phone", new Date(form.saved_at).toLocaleString()));
    const trouble = form.person === person ? form.trouble
      : "Somebody else made it. It is sent when they sign in on this phone.";
    const said = part.querySelector(".refusal");
    said.hidden = !trouble;
    said.textContent = trouble || "";
    part.querySelector("button").addEventListener("click", async () => {
      await Waiting.drop(form.at);
      await Waiting.tell();
    });
    return part;
  }

  async function draw() {
    const person = Number(document.body.dataset.person || 0);
    const forms = await Waiting.waiting();
    const parts = [];
    for (const form of forms) parts.push(await drawn(form, person));
    if (!parts.length) {
      const nothing = document.createElement("p");
      nothing.className = "empty";
      nothing.textContent = "Everything is sent. Nothing waits on this phone.";
      parts.push(nothing);
    }
    by("waiting").replaceChildren(...parts);
    by("with-them").hidden = !forms.length;
    const file = new Blob([JSON.stringify(forms, null, 1)], { type: "application/json" });
    URL.revokeObjectURL(by("take-away").href);
    by("take-away").href = URL.createObjectURL(file);
    await drawTold();
  }

  async function drawTold() {
    const rows = (await Waiting.told()).reverse().map((one) => {
      const row = document.createElement("li");
      const link = document.createElement("a");
      link.href = one.address;
      link.textContent = one.state === "entered" ? "Entered" : "To sort out";
      row.append(link, " " + one.words);
      return row;
    });
    by("sent").hidden = !rows.length;
    by("sent").querySelector("ul").replaceChildren(...rows);
  }

  // Ask the browser not to clear what waits when space is short, and say what it answered.
  async function ask() {
    if (!navigator.storage || !navigator.storage.persist) return;
    const promised = await navigator.storage.persist();
    by("promise").textContent = promised
      ? "This phone's browser promised to keep what waits here."
      : "This phone's browser may clear what waits here when space is short: send it soon, or " +
        "take it away as a file.";
  }

  document.addEventListener("ledger-sent", (event) => {
    by("signal").textContent = STATES[event.detail] || "";
    draw();
  });
  document.addEventListener("ledger-changed", draw);
  new BroadcastChannel("ledger").onmessage = draw;
  by("send-now").addEventListener("click", async () => {
    by("signal").textContent = "Sending.";
    const state = await Waiting.send();
    by("signal").textContent = STATES[state] || "";
    draw();
  });
  draw();
  ask();
})();
