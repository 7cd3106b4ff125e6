// Forms that wait on this phone for a signal, and how they are sent: one by one, in order.
// The pages and the worker use it alike. Each form has a number of its own (a UUID), so that one
// that is sent twice is entered once.
(function () {
  "use strict";
  const NOW = "/phone-now.json";
  const PAGES = "pages";
  const TOLD_KEPT = 20;
  const SECRET = ["csrfmiddlewaretoken", "pin"];

  let opened = null;

  function database() {
    opened = opened || new Promise((done, failed) => {
      const asked = indexedDB.open("ledger", 1);
      asked.onupgradeneeded = () => {
        asked.result.createObjectStore("waiting", { keyPath: "at", autoIncrement: true });
        asked.result.createObjectStore("told", { keyPath: "at", autoIncrement: true });
        asked.result.createObjectStore("known");
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
  const known = (name) => within("known", "readonly", (store) => store.get(name));
  const know = (name, value) => within("known", "readwrite", (store) => store.put(value, name));
  const drop = (at) => within("waiting", "readwrite", (store) => store.delete(at));
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
      [...page.searchParams].every(([name, value]) => asked.has(name) && (!value || asked.get(name) === value)));
    const best = fits.sort((one, other) => other.search.length - one.search.length)[0];
    return best ? cache.match(best) : undefined;
  }

  function numberOf(values) {
    const found = values.find(([name]) => name === "uuid");
    return found ? found[1] : "";
  }

  const same = (one, other) =>
    one.address === other.address && JSON.stringify(one.values) === JSON.stringify(other.values);

  // Keep a form. The very same one again is kept once; another under its number gets its own.
  async function keep(address, pairs) {
    const values = pairs.filter(([name, value]) =>
      !SECRET.includes(name) && typeof value === "string");
    const form = { address, values, person: await known("person"), saved_at: new Date().toISOString() };
    for (const other of await waiting()) {
      if (numberOf(other.values) !== numberOf(values)) continue;
      if (same(other, form)) return;
      values.forEach((pair) => { if (pair[0] === "uuid") pair[1] = crypto.randomUUID(); });
    }
    await put(form);
    await tell();
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

  async function sendOne(form, token) {
    const body = new URLSearchParams(form.values);
    body.append("phone_saved_at", form.saved_at);
    body.append("phone_sent_at", new Date().toISOString());
    const answer = await fetch(form.address, {
      method: "POST",
      headers: { Accept: "application/json", "X-CSRFToken": token },
      credentials: "same-origin",
      redirect: "manual",
      body,
    });
    const isJson = (answer.headers.get("Content-Type") || "").startsWith("application/json");
    if (!answer.ok || !isJson) {
      const trouble = "The site did not take it (answer " + answer.status + "). It stays here.";
      await put(Object.assign(form, { trouble }));
      return;
    }
    const [state, said] = Object.entries(await answer.json())[0];
    await within("told", "readwrite", (store) =>
      store.put({ state, words: said.words, address: said.address }));
    await drop(form.at);
    await forgetOldAnswers();
  }

  async function forgetOldAnswers() {
    const old = (await told()).slice(0, -TOLD_KEPT);
    for (const one of old) await within("told", "readwrite", (store) => store.delete(one.at));
  }

  // Send what this person made, oldest first. What became of it: sent, "no signal", "signed out".
  async function sendAll() {
    const mine = await waiting();
    if (!mine.length) return "";
    const here = await now();
    if (here === null) return "no signal";
    if (here.signed_out) return "signed out";
    for (const form of mine) {
      if (form.person !== here.person) continue;
      try {
        await sendOne(form, here.token);
      } catch {
        return "no signal";
      }
      await tell();
    }
    return "";
  }

  // Two pages, or a page and the worker, never send at once.
  function send() {
    if (!navigator.locks) return sendAll();
    return navigator.locks.request("ledger-sending", sendAll);
  }

  // Let every open page count anew.
  async function tell() {
    new BroadcastChannel("ledger").postMessage("changed");
    if (typeof document !== "undefined") document.dispatchEvent(new Event("ledger-changed"));
  }

  self.Waiting = {
    PAGES, waiting, told, known, know, keep, drop, put, now, send, tell, numberOf, saidIn, keptFor,
  };
})();
