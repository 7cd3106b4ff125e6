// One form that waits on this phone, drawn in the words of its page as it was kept.
(function () {
  "use strict";
  // What nobody typed: numbers, and the flush that comes next, which stands in every row.
  const HIDDEN = /^(uuid(_.*)?|flush_.*)$/;

  function labelOf(page, name) {
    const field = page && page.querySelector("main form [name='" + CSS.escape(name) + "']");
    const around = field && field.closest(".field, .draw");
    const label = around && around.querySelector("label, legend");
    const row = field && field.closest("[data-row]");
    const of = row ? row.querySelector("legend").textContent.trim() + ": " : "";
    return of + (label ? label.textContent.trim() : name.replaceAll("_", " "));
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

  async function pageOf(form) {
    const found = await Waiting.keptFor(new URL(form.address, location));
    return found && new DOMParser().parseFromString(await found.text(), "text/html");
  }

  function titleOf(page, form) {
    const title = page && page.querySelector("main h1");
    return title ? title.textContent.trim() : form.address;
  }

  // Title and facts: what its address says (a lot, a number) as well as what was typed. Of somebody
  // else's form the title alone: it may hold prices.
  async function fill(part, form, isOwn = true) {
    const page = await pageOf(form);
    part.querySelector("h2, h3").textContent = titleOf(page, form);
    const said = isOwn ? [...Waiting.saidIn(new URL(form.address, location)), ...form.values] : [];
    said.filter(([name, value]) => value && !HIDDEN.test(name)).forEach(([name, value]) =>
      part.querySelector("dl").append(fact(labelOf(page, name), wordsOf(page, name, value))));
    part.querySelector("dl").append(
      fact("Kept on the phone", new Date(form.saved_at).toLocaleString()));
    return page;
  }

  self.Shown = { fill, fact };
})();
