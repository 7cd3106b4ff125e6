// Looks after the pages of this site: opens kept forms without a signal, and keeps what is sent
// from them until there is one. SITE stands above, written by the site: its files and addresses.
"use strict";
importScripts(SITE.queue);

const SHELL = "shell-" + SITE.version;
const PAGES = self.Waiting.PAGES;
const KEEP = "Ledger-Keep";
// Longer than this a page on its way is taken for lost; it may still arrive, and then once.
const WAIT_MS = 12000;
const KEEP_AGAIN_MS = 15 * 60 * 1000;
const UNREACHED = [502, 503, 504];

self.addEventListener("install", (event) => {
  event.waitUntil(
    caches.open(SHELL)
      .then((cache) => cache.addAll(SITE.shell.map((file) => new Request(file, { cache: "no-cache" }))))
      .then(() => self.skipWaiting())
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    const old = (await caches.keys()).filter((name) => name.startsWith("shell-") && name !== SHELL);
    await Promise.all(old.map((name) => caches.delete(name)));
    await self.Waiting.know("kept_at", 0); // pages go with the scripts of their time
    await self.clients.claim();
  })());
});

self.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  if (address.origin !== self.location.origin) return;
  if (event.request.mode === "navigate") {
    event.respondWith(event.request.method === "POST" ? sent(event, address) : opened(event, address));
  } else if (SITE.shell.includes(address.pathname)) {
    event.respondWith(fetch(event.request).catch(() => caches.match(event.request)));
  }
});

// One after another, in the order they were asked for: keeping must not overtake forgetting.
let turn = Promise.resolve();

self.addEventListener("message", (event) => {
  const asked = event.data.keepFor ? () => keepPages(event.data.keepFor) : forget;
  turn = turn.then(asked).catch(() => {});
  event.waitUntil(turn);
});

self.addEventListener("sync", (event) => {
  if (event.tag === "send") event.waitUntil(self.Waiting.send());
});

function soon(promise) {
  return Promise.race([
    promise,
    new Promise((_, failed) => setTimeout(() => failed(new Error("too slow")), WAIT_MS)),
  ]);
}

async function opened(event, address) {
  try {
    return await soon(fetch(event.request));
  } catch {
    return keptPage(address);
  }
}

// A form goes its way; where nobody took it, it is kept.
async function sent(event, address) {
  const copy = event.request.clone();
  const leaving = address.pathname === SITE.sign_out;
  if (leaving) await forget();
  let answer = null;
  try {
    answer = await soon(fetch(event.request));
  } catch {
    answer = null;
  }
  if (answer && !UNREACHED.includes(answer.status)) return answer;
  if (leaving) return said("Not signed out: no signal", "What was kept of the site is cleared from this phone. Sign out again when there is a signal.");
  const takes = (await self.Waiting.known("sent_to")) || [];
  if (!self.Waiting.mayWait(takes, address.pathname)) {
    return answer || keptPage(new URL(SITE.not_sent, address));
  }
  const pairs = [...(await copy.formData()).entries()];
  const form = await self.Waiting.keep(address.pathname + address.search, pairs);
  const photos = pairs.map(([, value]) => value).filter((value) => typeof value !== "string" && value.size);
  const kept = await Promise.allSettled(photos.map((photo) => self.Waiting.addPhoto(form, photo)));
  const lost = kept.some((one) => one.status === "rejected");
  if (self.registration.sync) await self.registration.sync.register("send").catch(() => {});
  return Response.redirect(new URL(SITE.not_sent + (lost ? "?no-room=1" : "?kept=1"), address), 303);
}

async function keptPage(address) {
  return (await self.Waiting.keptFor(address)) || (await caches.match(SITE.not_sent)) ||
    said("No signal", "Nothing is kept on this phone yet. Come back when there is a signal.");
}

function said(title, words) {
  const page = "<!doctype html><html lang=en><meta charset=utf-8><title>" + title + "</title>" +
    "<meta name=viewport content='width=device-width'><link rel=stylesheet href='" +
    SITE.shell.find((file) => file.endsWith("site.css")) + "'><main><h1>" + title + "</h1><p>" + words;
  return new Response(page, { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } });
}

// Fetch the forms anew, one after another: only what the site itself says may be kept is kept.
async function keepPages(person) {
  const isTheirs = (await self.Waiting.known("person")) === person;
  const age = Date.now() - ((await self.Waiting.known("kept_at")) || 0);
  if (isTheirs && age < KEEP_AGAIN_MS) return;
  if (!isTheirs) await forget();
  const here = await self.Waiting.now();
  if (!here || here.person !== person) return;
  await self.Waiting.know("person", here.person);
  await self.Waiting.know("who", here.who);
  await self.Waiting.know("sent_to", here.sent_to);
  const cache = await caches.open(PAGES);
  for (const page of here.pages) {
    const answer = await fetch(page, { headers: { [KEEP]: "1", Accept: "text/html" } });
    const isFor = answer.ok && !answer.redirected && answer.headers.get(KEEP);
    if (isFor) await cache.put(page, answer);
  }
  await dropOthers(cache, here.pages);
  await self.Waiting.know("kept_at", Date.now());
  await self.Waiting.tell();
}

async function dropOthers(cache, pages) {
  for (const request of await cache.keys()) {
    const address = new URL(request.url);
    if (!pages.includes(address.pathname + address.search)) await cache.delete(request);
  }
}

// Signed out, or somebody else: no page stays. Forms that were not sent stay with who made them.
async function forget() {
  await caches.delete(PAGES);
  await self.Waiting.know("kept_at", 0);
}
