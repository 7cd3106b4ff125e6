// On every page: the count of what was not sent, sending it, and keeping the forms for later.
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
    const photos = await Waiting.photos();
    const others = forms.filter((form) => form.person !== person);
    const names = [...new Set(others.map((form) => form.who || "somebody else"))].join(", ");
    const words = "Kept on this phone: " + forms.length + " not sent" +
      (others.length ? ", " + others.length + " of " + names : "") +
      (photos.length ? ", photos: " + photos.length : "");
    const any = forms.length || photos.length;
    if (line.textContent.trim() === (any ? words : "")) return;
    line.replaceChildren();
    if (!any) return;
    const link = document.createElement("a");
    link.href = line.dataset.href;
    link.textContent = words;
    line.append(link);
  }

  async function send() {
    const state = await Waiting.send();
    document.dispatchEvent(new CustomEvent("ledger-sent", { detail: state }));
  }

  async function keepPages() {
    const registration = await navigator.serviceWorker.ready;
    registration.active.postMessage(person ? { keepFor: person } : { forget: true });
  }

  async function begin() {
    new BroadcastChannel("ledger").onmessage = count;
    document.addEventListener("ledger-changed", count);
    // A page that the browser kept whole and shows again has an old number: it gets a new one
    // only where its own was kept on this phone meanwhile, which keep() looks after.
    window.addEventListener("pageshow", count);
    await count();
    await navigator.serviceWorker.register("/worker.js");
    window.addEventListener("online", send);
    setInterval(async () => { if (await Waiting.isAny()) send(); }, TRY_AGAIN_MS);
    if (!isKept) await keepPages();
    await send();
  }

  begin().catch(() => {});
})();
