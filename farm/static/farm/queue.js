// Forms that wait on this phone for a signal, and how they are sent: one by one, in order.
// The pages and the worker use it alike. Each form has a number of its own (a UUID), so that one
// that is sent twice is entered once. Photos wait beside their form, each by itself: a phone that
// is full keeps the form at least.
(function () {
  "use strict";
  const NOW = "/phone-now.json";
  const PAGES = "pages";
  const PHOTOS = "/photos/";
  const TOLD_KEPT = 20;
  // A photo whose form must be sorted out first is not sent up again with every page.
  const PHOTO_AGAIN_MS = 10 * 60 * 1000;
  const SECRET = /^(csrfmiddlewaretoken|pin(_.*)?)$/;

  let opened = null;

  function database() {
    opened = opened || new Promise((done, failed) => {
      const asked = indexedDB.open("ledger", 2);
      asked.onupgradeneeded = () => {
        const there = asked.result.objectStoreNames;
        for (const name of ["waiting", "told", "photos"]) {
          if (there.contains(name)) continue;
          asked.result.createObjectStore(name, { keyPath: "at", autoIncrement: true });
        }
        if (!there.contains("known")) asked.result.createObjectStore("known");
      };
      asked.onsuccess = () => done(asked.result);
      asked.onerror = () => failed(asked.error);
    });
    return opened;
  }

  // Run one request in a store; answered once it is written down for good.
  async function within(store, mode, act) {
    const transaction = (await database()).transaction(store, mode);
    const asked = act(transaction.objectStore(store));
    return new Promise((done, failed) => {
      transaction.oncomplete = () => done(asked && asked.result);
      transaction.onerror = transaction.onabort = () => failed(transaction.error);
    });
  }

  const waiting = () => within("waiting", "readonly", (store) => store.getAll());
  const told = () => within("told", "readonly", (store) => store.getAll());
  const photos = () => within("photos", "readonly", (store) => store.getAll());
  const known = (name) => within("known", "readonly", (store) => store.get(name));
  const know = (name, value) => within("known", "readwrite", (store) => store.put(value, name));
  const drop = (at) => within("waiting", "readwrite", (store) => store.delete(at));
  const dropPhoto = (at) => within("photos", "readwrite", (store) => store.delete(at));
  const put = (form) => within("waiting", "readwrite", (store) => store.put(form));

  // What an address says. A first step sends a lot in two boxes, a link in one: both say the same.
  function saidIn(address) {
    const said = new URLSearchParams();
    for (const [name, value] of address.searchParams) {
      if (value) said.append(name.replace(/_(list|code)$/, ""), value);
    }
    return said;
  }

  // The page that was kept for an address: of those that fit, the one whose own says the most. What
  // that leaves blank ("?product=3&packs=") may be anything. Whoever answers a first step whole,
  // and names what was not kept, gets no page rather than the first step again.
  async function keptFor(address) {
    const cache = await caches.open(PAGES);
    const asked = saidIn(address);
    const kept = (await cache.keys()).map((request) => new URL(request.url))
      .filter((page) => page.pathname === address.pathname);
    const answersAll = kept.some((page) => page.search &&
      [...page.searchParams.keys()].every((name) => asked.has(name)));
    const fits = kept.filter((page) => (page.search || !answersAll) &&
      [...page.searchParams].every(([name, value]) => 
        asked.has(name) && (!value || asked.get(name) === value)));
    const best = fits.sort((one, other) => other.search.length - one.search.length)[0];
    const page = best && await cache.match(best);
    if (!page || !isOver(page)) return page;
    await cache.delete(best);
    return undefined;
  }

  // A page that names customers says until when it may be shown here; others say "yes".
  const isOver = (page) => Date.parse(page.headers.get("Ledger-Keep")) < Date.now();

  function numberOf(values) {
    const found = values.find(([name]) => name === "uuid");
    return found ? found[1] : "";
  }

  // The numbers of all that a form may become: its own, and those of its rows.
  function numbersOf(form) {
    return form.values.filter(([name]) => name === "uuid" || name.startsWith("uuid_"))
      .map(([, value]) => value);
  }

  async function photosOf(form) {
    const numbers = numbersOf(form);
    return (await photos()).filter((photo) => photo.of.some((number) => numbers.includes(number)));
  }

  // Keep a photo beside a form that waits; it fails where the phone has no room for it.
  async function addPhoto(form, image) {
    const { person, who } = form;
    await within("photos", "readwrite", (store) =>
      store.put({ of: numbersOf(form), person, who, image, saved_at: new Date().toISOString() }));
    await tell();
  }

  async function giveUp(form) {
    for (const photo of await photosOf(form)) await dropPhoto(photo.at);
    await drop(form.at);
    await tell();
  }

  const same = (one, other) =>
    one.address === other.address && JSON.stringify(one.values) === JSON.stringify(other.values);

  // Whether a form that is sent to a path may wait; a star stands for all that begin alike.
  function mayWait(takes, path) {
    return takes.some((taken) => taken.endsWith("*") ? path.startsWith(taken.slice(0, -1)) : path === taken);
  }

  // Keep a form. The very same one again is kept once; another under its number gets its own.
  async function keep(address, pairs) {
    const values = pairs.filter(([name, value]) =>
      !SECRET.test(name) && typeof value === "string");
    const person = await known("person");
    const who = await known("who");
    const form = { address, values, person, who, saved_at: new Date().toISOString() };
    for (const other of await waiting()) {
      if (numberOf(other.values) !== numberOf(values)) continue;
      if (same(other, form)) return other;
      values.forEach((pair) => { if (pair[0] === "uuid") pair[1] = crypto.randomUUID(); });
    }
    await put(form);
    await tell();
    return form;
  }

  // Who is signed in, and a fresh token; null without a signal.
  async function now() {
    try {
      const answer = await fetch(NOW, { cache: "no-store", credentials: "same-origin" });
      if (answer.status === 401) return { signed_out: true };
      return answer.ok ? await answer.json() : null;
    } catch {
      return null;
    }
  }

  // What became of what was sent: one of the site's words, and what it said.
  async function posted(address, token, body) {
    const answer = await fetch(address, {
      method: "POST",
      headers: { Accept: "application/json", "X-CSRFToken": token },
      credentials: "same-origin",
      redirect: "manual",
      body,
    });
    const isJson = (answer.headers.get("Content-Type") || "").startsWith("application/json");
    if (answer.ok && isJson) return Object.entries(await answer.json())[0];
    return ["", { words: "The site did not take it (answer " + answer.status + "). It stays here." }];
  }

  async function sendForm(form, token) {
    const body = new URLSearchParams(form.values);
    body.append("phone_saved_at", form.saved_at);
    body.append("phone_sent_at", new Date().toISOString());
    const [state, said] = await posted(form.address, token, body);
    if (!state) {
      await put(Object.assign(form, { trouble: said.words }));
      return;
    }
    await note(form, state, said);
    await drop(form.at);
  }

  // A photo leaves the phone only once the site has it.
  async function sendPhoto(photo, token) {
    const body = new FormData();
    photo.of.forEach((number) => body.append("of", number));
    body.append("photo", photo.image, "photo.jpg");
    const [state, said] = await posted(PHOTOS, token, body);
    if (state === "entered") {
      await note(photo, state, said);
      await dropPhoto(photo.at);
    } else {
      Object.assign(photo, { trouble: said.words, tried_at: Date.now() });
      await within("photos", "readwrite", (store) => store.put(photo));
    }
  }

  // For who made it alone: a question may name a price or a customer.
  async function note({ person }, state, said) {
    await within("told", "readwrite", (store) =>
      store.put({ person, state, words: said.words, address: said.address }));
    const old = (await told()).slice(0, -TOLD_KEPT);
    for (const one of old) await within("told", "readwrite", (store) => store.delete(one.at));
  }

  // Photos whose form arrived; one that the site could not place yet, after a while or when asked.
  async function readyPhotos(anew) {
    const still = (await waiting()).flatMap(numbersOf);
    return (await photos()).filter((photo) =>
      !photo.of.some((number) => still.includes(number)) &&
      (anew || Date.now() - (photo.tried_at || 0) > PHOTO_AGAIN_MS));
  }

  async function isAny() {
    return (await waiting()).length > 0 || (await readyPhotos()).length > 0;
  }

  // Send what this person made, oldest first, and the photos behind. What became of it: nothing
  // to say, "no signal", "signed out".
  async function sendAll(anew) {
    const forms = await waiting();
    if (!anew && !(await isAny())) return "";
    const here = await now();
    if (here === null) return "no signal";
    if (here.signed_out) return "signed out";
    const mine = (one) => one.person === here.person;
    try {
      for (const form of forms.filter(mine)) {
        await sendForm(form, here.token);
        await tell();
      }
      for (const photo of (await readyPhotos(anew)).filter(mine)) {
        await sendPhoto(photo, here.token);
        await tell();
      }
    } catch {
      return "no signal";
    }
    return "";
  }

  // Two pages, or a page and the worker, never send at once. ``anew``: somebody asked for it.
  function send(anew = false) {
    if (!navigator.locks) return sendAll(anew);
    return navigator.locks.request("ledger-sending", () => sendAll(anew));
  }

  // Let every open page count anew.
  async function tell() {
    new BroadcastChannel("ledger").postMessage("changed");
    if (typeof document !== "undefined") document.dispatchEvent(new Event("ledger-changed"));
  }

  self.Waiting = {
    PAGES, waiting, photos, photosOf, told, known, know, keep, put, addPhoto, dropPhoto, giveUp,
    isAny, now, send, tell, numberOf, mayWait, saidIn, keptFor,
  };
})();
