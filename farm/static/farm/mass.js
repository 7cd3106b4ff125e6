// Beside a weight that is being typed: the same in kilos, grams, pounds and ounces, at once; and a
// plus for the next bowl, which the number keys of some phones lack.
// The site says both units by itself once it is recorded; this only shows them earlier.
(function () {
  "use strict";
  const GRAMS = {
    kg: 1000, kgs: 1000, kilo: 1000, kilos: 1000, kilogram: 1000, kilograms: 1000,
    g: 1, gram: 1, grams: 1, mg: 0.001, milligram: 0.001, milligrams: 0.001,
    lb: 453.59237, lbs: 453.59237, pound: 453.59237, pounds: 453.59237,
    oz: 28.349523125, ounce: 28.349523125, ounces: 28.349523125,
  };
  const TYPED = /^(\d*[.,]?\d+)\s*([a-z]*)$/;
  const BOTH = /^(\d+)\s*(?:lbs?|pounds?)\s*(\d*[.,]?\d+)\s*(?:oz|ounces?)$/;
  const number = (text) => Number(text.replace(",", "."));

  // A sum of bowls: a bare number has the unit that stands beside another, as the site reads it.
  function gramsOf(text, unit) {
    const parts = text.toLowerCase().split("+").map((part) => part.trim());
    const typed = parts.filter((part) => !BOTH.test(part)).map((part) => (TYPED.exec(part) || [])[2]);
    const units = new Set(typed.filter(Boolean).map((name) => GRAMS[name]));
    const isMixed = units.size > 1 || parts.length > typed.length;
    if (parts.length > 1 && isMixed && typed.includes("")) return null;
    const bare = typed.find(Boolean) || unit;
    const grams = parts.map((part) => gramsOfOne(part, bare));
    return grams.includes(null) ? null : grams.reduce((sum, one) => sum + one, 0);
  }

  function gramsOfOne(typed, unit) {
    const both = BOTH.exec(typed);
    if (both) return number(both[1]) * GRAMS.lb + number(both[2]) * GRAMS.oz;
    const one = TYPED.exec(typed);
    const grams = one && GRAMS[one[2] || unit];
    return grams ? number(one[1]) * grams : null;
  }

  function words(grams) {
    return (grams / 1000).toFixed(grams < 10 ? 4 : 3) + " kg · " + grams.toFixed(1) + " g · " +
      (grams / GRAMS.lb).toFixed(2) + " lb · " + (grams / GRAMS.oz).toFixed(1) + " oz";
  }

  // The keys stay up: the box keeps the focus, and its end is where the next number goes.
  function plusFor(box) {
    const plus = document.createElement("button");
    plus.type = "button";
    plus.className = "plus";
    plus.tabIndex = -1; // whoever has a tab key has a plus on the keys too
    plus.textContent = "+";
    plus.setAttribute("aria-label", "Add another weight to " + box.labels[0].textContent.trim());
    plus.addEventListener("pointerdown", (event) => event.preventDefault());
    plus.addEventListener("click", () => {
      const typed = box.value.trimEnd();
      if (typed && !typed.endsWith("+")) box.value = typed + "+";
      box.focus();
      box.setSelectionRange(box.value.length, box.value.length);
      box.dispatchEvent(new Event("input", { bubbles: true }));
    });
    return plus;
  }

  document.querySelectorAll("input[data-mass]").forEach((box) => {
    const said = document.createElement("output");
    said.className = "hint";
    said.htmlFor.add(box.id);
    box.after(plusFor(box), said);
    function say() {
      const grams = gramsOf(box.value, box.dataset.mass);
      said.textContent = grams === null ? "" : words(grams);
    }
    box.addEventListener("input", say);
    say();
  });
})();
