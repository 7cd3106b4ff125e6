// The page of what was not sent: drawn from this phone alone.
(function () {
  "use strict";
  if (!window.indexedDB || !window.caches) return;
  const MOST_PHOTOS = 6;
  const LONGEST_SIDE = 1600;
  const QUALITY = 0.8;
  const NO_ROOM = "There is no room on this phone for the photo. The entry itself is kept and " +
    "waits. Add the photo to the entry once it is sent.";
  const STATES = {
    "no signal": "There is no signal now. Everything stays here and is sent when there is one.",
    "signed out": "The sign-in has ended. Sign in again; everything stays here until then.",
    "": "",
  };
  const by = (id) => document.getElementById(id);

  const words = (form, person) => form.person === person ? form.trouble
    : (form.who || "Somebody else") + " made it. It is sent when they enter on this phone again: " +
      "by signing in, or by initials and PIN under Not you?";

  function sayIn(place, said) {
    place.hidden = !said;
    place.textContent = said || "";
  }

  async function drawn(form, person) {
    const part = by("one-waiting").content.cloneNode(true).firstElementChild;
    const page = await Shown.fill(part, form, form.person === person);
    const photos = await Waiting.photosOf(form);
    photos.forEach((photo, at) => part.querySelector("dl").append(
      Shown.fact("Photo " + (at + 1), Math.ceil(photo.image.size / 1000) + " kB, goes with it")));
    sayIn(part.querySelector(".refusal"), words(form, person));
    part.querySelector("button").addEventListener("click", () => Waiting.giveUp(form));
    const choose = part.querySelector("input[type=file]");
    choose.closest(".field").hidden = form.person !== person || photos.length >= MOST_PHOTOS ||
      Boolean(page && page.querySelector("main form[data-no-photo]"));
    choose.addEventListener("change", async () => {
      const said = await addPhoto(form, choose.files[0]);
      if (said) sayIn(choose.closest(".field").querySelector(".refusal"), said);
    });
    return part;
  }

  // A photo as small as the site would make it; what the camera wrote into it is left out.
  async function shrunk(file) {
    const picture = await createImageBitmap(file);
    const scale = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * scale);
    canvas.height = Math.round(picture.height * scale);
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    return new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));
  }

  // Keep a photo beside its form; what stands in the way is said, and the form stays as it is.
  async function addPhoto(form, file) {
    let image = null;
    try {
      image = await shrunk(file);
    } catch {
      return "This photo cannot be read. The entry waits without it. Take the photo as JPEG.";
    }
    try {
      await Waiting.addPhoto(form, image);
    } catch {
      return NO_ROOM;
    }
    return "";
  }

  // A photo whose form was sent, and is still to be sorted out.
  function drawnPhoto(photo) {
    const part = by("one-photo").content.cloneNode(true).firstElementChild;
    part.querySelector("p").textContent = photo.trouble || "It goes with the next signal.";
    part.querySelector("button").addEventListener("click", async () => {
      await Waiting.dropPhoto(photo.at);
      await Waiting.tell();
    });
    return part;
  }

  // Who else has what waiting here, so that nothing looks lost.
  function drawTheirs(forms, person) {
    const counts = new Map();
    forms.filter((form) => form.person !== person).forEach((form) =>
      counts.set(form.who || "?", (counts.get(form.who || "?") || 0) + 1));
    by("theirs").hidden = !counts.size;
    by("theirs").querySelector("dl").replaceChildren(
      ...[...counts].map(([who, count]) => Shown.fact(who, count + " not sent")));
  }

  async function draw() {
    const person = Number(document.body.dataset.person || 0);
    const forms = await Waiting.waiting();
    const theirs = await Promise.all(forms.map(Waiting.photosOf));
    const alone = (await Waiting.photos()).filter((photo) =>
      !theirs.flat().some((other) => other.at === photo.at));
    const parts = [];
    for (const form of forms) parts.push(await drawn(form, person));
    parts.push(...alone.map(drawnPhoto));
    if (!parts.length) {
      const nothing = document.createElement("p");
      nothing.className = "empty";
      nothing.textContent = "Everything is sent. Nothing waits on this phone.";
      parts.push(nothing);
    }
    by("waiting").replaceChildren(...parts);
    by("with-them").hidden = !forms.length && !alone.length;
    drawTheirs(forms, person);
    await drawTold(person);
  }

  async function drawTold(person) {
    const theirs = (await Waiting.told()).filter((one) => one.person === person);
    const rows = theirs.reverse().map((one) => {
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

  // One after another: a slow drawing must not replace a newer one.
  let drawing = Promise.resolve();
  function redraw() {
    drawing = drawing.then(draw).catch(() => {});
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
  });
  document.addEventListener("ledger-changed", redraw);
  new BroadcastChannel("ledger").onmessage = redraw;
  by("send-now").addEventListener("click", async () => {
    by("signal").textContent = "Sending.";
    const state = await Waiting.send(true);
    by("signal").textContent = STATES[state] || "";
  });
  if (new URLSearchParams(location.search).has("no-room")) by("signal").textContent = NO_ROOM;
  redraw();
  ask();
})();
