// What waits on this phone as a file, and such a file read back: here, or on another device.
// One line a form, so that what is wrong can be named by its line. What is read back goes the way
// of every form that waits, under its own number: handed in twice, it is entered once.
(function () {
  "use strict";
  const HEAD = { ledger: "forms that were not sent" };
  const MOST_BYTES = 20_000_000;
  const MOST_FORMS = 500;
  const NUMBER = /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/i;
  const PICTURE = /^[A-Za-z0-9+/]+={0,2}$/;
  const SAVED_MS = 60_000;
  const AGAIN = " Take the file away once more where the forms wait, or type this one in anew.";
  const by = (id) => document.getElementById(id);
  const isText = (value) => typeof value === "string";

  // --- take away -----------------------------------------------------------------------------

  async function asText(image) {
    const bytes = new Uint8Array(await image.arrayBuffer());
    return btoa(bytes.reduce((text, byte) => text + String.fromCharCode(byte), ""));
  }

  async function lineOf(form) {
    const { address, values, person, who, saved_at } = form;
    const photos = [];
    for (const photo of await Waiting.photosOf(form)) photos.push(await asText(photo.image));
    return JSON.stringify({ address, values, person, who, saved_at, photos });
  }

  async function takeAway() {
    const lines = [JSON.stringify(HEAD)];
    for (const form of await Waiting.waiting()) lines.push(await lineOf(form));
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([lines.join("\n") + "\n"]));
    link.download = "not-sent.jsonl";
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), SAVED_MS);
  }

  // --- hand in -------------------------------------------------------------------------------

  function parsed(line) {
    try {
      return JSON.parse(line);
    } catch {
      return null;
    }
  }

  function isForm(form) {
    const isPair = (pair) => Array.isArray(pair) && pair.length === 2 && pair.every(isText);
    return Boolean(form) && isText(form.address) && isText(form.who) && isText(form.saved_at) &&
      !Number.isNaN(Date.parse(form.saved_at)) && Array.isArray(form.values) &&
      form.values.every(isPair) && NUMBER.test(Waiting.numberOf(form.values)) &&
      Array.isArray(form.photos) && form.photos.every((photo) => isText(photo) && PICTURE.test(photo));
  }

  // What stands against a line: nothing, or words with the way out.
  function against(form, here) {
    if (!isForm(form)) return "it was changed or cut off." + AGAIN;
    const address = new URL(form.address, location);
    if (address.origin !== location.origin || !Waiting.mayWait(here.sent_to, address.pathname)) {
      return "nothing can be recorded at " + form.address + " by " + here.who + "." + AGAIN;
    }
    if (form.person !== here.person || form.who !== here.who) {
      return form.who + " typed it. " + form.who + " signs in and hands this file in as well.";
    }
    return "";
  }

  // The forms of a file that may be entered here, and what is wrong with its other lines.
  async function read(file) {
    if (file.size > MOST_BYTES) {
      throw new Error("The file has " + Math.ceil(file.size / 1e6) + " MB, 20 MB at most. " +
        "Take fewer forms away at once.");
    }
    const lines = (await file.text()).split("\n");
    const head = parsed(lines[0]);
    if (!head || head.ledger !== HEAD.ledger) {
      throw new Error("Line 1: this is no file of forms that waited. Choose the one that was " +
        "taken away here, named not-sent.jsonl.");
    }
    const here = await Waiting.now();
    if (!here || here.signed_out) {
      throw new Error("There is no signal, or the sign-in has ended. Hand the file in again then.");
    }
    const found = { forms: [], wrong: [] };
    lines.slice(1, MOST_FORMS + 1).forEach((line, at) => {
      if (!line.trim()) return;
      const form = parsed(line);
      const words = against(form, here);
      if (words) found.wrong.push("Line " + (at + 2) + ": " + words);
      else found.forms.push(form);
    });
    if (lines.slice(MOST_FORMS + 1).some((line) => line.trim())) {
      found.wrong.push("Line " + (MOST_FORMS + 2) + ": more than 500 forms. Hand the rest in as " +
        "a file of its own, with the same first line.");
    }
    return found;
  }

  const sentence = (words) => {
    const line = document.createElement("p");
    line.textContent = words;
    return line;
  };

  async function show(found) {
    by("file-wrong").hidden = !found.wrong.length;
    by("file-wrong").replaceChildren(...found.wrong.map(sentence));
    const parts = [];
    for (const form of found.forms) {
      const part = by("one-in-file").content.cloneNode(true).firstElementChild;
      await Shown.fill(part, form);
      if (form.photos.length) {
        part.querySelector("dl").append(Shown.fact("Photos", String(form.photos.length)));
      }
      parts.push(part);
    }
    by("in-file").replaceChildren(...parts);
    by("enter-file").hidden = !found.forms.length;
    by("enter-file").textContent = "Enter these " + found.forms.length;
  }

  function pictureOf(text) {
    const bytes = Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
    return new Blob([bytes], { type: "image/jpeg" });
  }

  async function enter(forms) {
    const there = (await Waiting.waiting()).map((form) => Waiting.numberOf(form.values));
    for (const { photos, ...form } of forms) {
      if (there.includes(Waiting.numberOf(form.values))) continue;
      await Waiting.put(form);
      for (const photo of photos) await Waiting.addPhoto(form, pictureOf(photo));
    }
    await Waiting.tell();
    const state = await Waiting.send(true);
    document.dispatchEvent(new CustomEvent("ledger-sent", { detail: state }));
  }

  let chosen = { forms: [], wrong: [] };

  by("take-away").addEventListener("click", takeAway);
  by("hand-in").addEventListener("change", async (event) => {
    chosen = await read(event.target.files[0])
      .catch((refusal) => ({ forms: [], wrong: [refusal.message] }));
    await show(chosen);
  });
  by("enter-file").addEventListener("click", async () => {
    const { forms } = chosen;
    chosen = { forms: [], wrong: [] };
    by("hand-in").value = "";
    await show(chosen);
    await enter(forms).catch(() => show({ forms: [], wrong: [
      "There is no room on this phone for all of it. What stands above is kept; hand the file in " +
      "again on another device: nothing is entered twice."] }));
  });
})();
