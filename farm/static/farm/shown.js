// One form that waits on this phone, drawn in the words of its page as it was kept.
(function () {
  "use strict";
  // What nobody typed: numbers, and the flush that comes next, which stands in every row.
  const HIDDEN = /^(uuid(_.*)?|flush_.*)$/;

  // The form's own page, then its first step: that one names what the address answers.
  const found = (pages, selector) =>
    pages.map((page) => page && page.querySelector("main form " + selector)).find(Boolean);

  function labelOf(pages, name) {
    const field = found(pages, "[name='" + CSS.escape(name) + "']");
    const around = field && field.closest(".field, .draw");
    const label = around && around.querySelector("label, legend");
    const row = field && field.closest("[data-row]");
    const of = row ? row.querySelector("legend").textContent.trim() + ": " : "";
    return of + (label ? label.textContent.trim() : name.replaceAll("_", " "));
  }

  function wordsOf(pages, name, value) {
    const option = found(pages,
      "select[name='" + CSS.escape(name) + "'] option[value='" + CSS.escape(value) + "']");
    return option ? option.textContent.trim() : value.replace("T", " ");
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

  async function pageOf(address) {
    const kept = await Waiting.keptFor(new URL(address, location));
    return kept && new DOMParser().parseFromString(await kept.text(), "text/html");
  }

  function titleOf(page, form) {
    const title = page && page.querySelector("main h1");
    return title ? title.textContent.trim() : form.address;
  }

  // Title and facts: what its address says (a lot, a number) as well as what was typed. Of somebody
  // else's form the title alone: it may hold prices.
  async function fill(part, form, isOwn = true) {
    const page = await pageOf(form.address);
    const pages = [page, await pageOf(new URL(form.address, location).pathname)];
    part.querySelector("h2, h3").textContent = titleOf(page, form);
    const said = isOwn ? [...Waiting.saidIn(new URL(form.address, location)), ...form.values] : [];
    said.filter(([name, value]) => value && !HIDDEN.test(name)).forEach(([name, value]) =>
      part.querySelector("dl").append(fact(labelOf(pages, name), wordsOf(pages, name, value))));
    part.querySelector("dl").append(
      fact("Kept on the phone", new Date(form.saved_at).toLocaleString()));
    return page;
  }

  self.Shown = { fill, fact };
})();
