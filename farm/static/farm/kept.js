// On a page that was kept on this phone: a number and a time of its own, what the address says, and
// what is drawn from which lot, worked out here as the site does with a signal.
(function () {
  "use strict";
  const asked = Waiting.saidIn(new URL(location));
  const said = document.querySelectorAll("[data-said]");
  const draws = document.querySelectorAll("input[data-part]");
  const MG = { kg: 1_000_000, lb: 453_592.37 };
  const PARTS = 10_000;

  // The farm's own clock, as a form writes it: 2026-09-07T08:00.
  function farmTime(zone) {
    const parts = new Intl.DateTimeFormat("en-GB", {
      timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit",
      hour: "2-digit", minute: "2-digit", hourCycle: "h23",
    }).formatToParts(new Date());
    const now = Object.fromEntries(parts.map((part) => [part.type, part.value]));
    return now.year + "-" + now.month + "-" + now.day + "T" + now.hour + ":" + now.minute;
  }

  // Now, or noon where the form is of another day: a wall sheet that is typed up the day after.
  function timeOf(form, now) {
    const { day } = form.dataset;
    return !day || now.startsWith(day) ? now : day + "T12:00";
  }

  function renew(form) {
    const numbers = form.querySelectorAll("input[name=uuid], input[name^=uuid_]");
    const when = form.elements.namedItem("when");
    const stale = form.querySelectorAll("[data-of-today]");
    numbers.forEach((number) => { number.value = crypto.randomUUID(); });
    stale.forEach((box) => { box.value = ""; });
    if (when) when.value = timeOf(form, farmTime(document.body.dataset.zone));
  }

  function fillIn(form) {
    for (const [name, value] of asked) {
      const field = form.elements.namedItem(name + "_list") || form.elements.namedItem(name);
      const boxes = form.querySelectorAll("input[type=checkbox][name='" + CSS.escape(name) + "']");
      boxes.forEach((box) => { if (box.value === value) box.checked = true; });
      if (boxes.length || !field || field.type === "hidden" || !("value" in field)) continue;
      field.value = value;
      const typed = form.elements.namedItem(name + "_code");
      if (typed && field.value !== value) typed.value = value;
    }
  }

  function mark() {
    const line = document.createElement("p");
    line.className = "caution";
    line.textContent = "No signal. This form was kept on this phone; what you record waits here " +
      "until there is one.";
    document.querySelector("main h1").after(line);
  }

  // What the first step answered, in the words of its own list: "K7M4Q · Blue oyster · 38 blocks".
  async function sayAnswers() {
    const found = await Waiting.keptFor(new URL(location.pathname, location));
    const first = found && new DOMParser().parseFromString(await found.text(), "text/html");
    said.forEach((place) => {
      const answer = asked.get(place.dataset.said) || "";
      const option = first && first.querySelector("option[value='" + CSS.escape(answer) + "']");
      place.textContent = option ? option.textContent.trim() : answer;
    });
  }

  // Four decimals: three could be read as thousands.
  function written(box, amount) {
    const data = box.dataset;
    if (amount === Number(data.there)) return data.all;
    if (!data.mass) return String(amount);
    const places = Math.floor(amount / MG[data.mass] * PARTS) / PARTS;
    return places.toFixed(4) + " " + data.mass;
  }

  // From the lots in the order of the list, the oldest first, as the site proposes it.
  function shareOut() {
    const wanted = new Map();
    const today = farmTime(document.body.dataset.zone).slice(0, 10);
    draws.forEach((box) => {
      const { part, each, by, until } = box.dataset;
      const there = until && until < today ? 0 : box.dataset.there; // food past its days: never
      if (!wanted.has(part)) wanted.set(part, Number(each) * Number(asked.get(by)));
      const taken = Math.min(wanted.get(part), Number(there)) || 0;
      wanted.set(part, wanted.get(part) - taken);
      box.value = taken ? written(box, taken) : "";
    });
    const short = [...wanted].filter(([, rest]) => rest > 0).map(([part]) => part);
    const line = document.getElementById("short");
    if (!line || !short.length) return;
    line.textContent = "Not enough at the last visit: " + short.join(", ") + ".";
    line.hidden = false;
  }

  document.querySelectorAll("main form").forEach((form) => {
    renew(form);
    fillIn(form);
  });
  shareOut();
  if (document.querySelector("main form")) mark();
  if (said.length) sayAnswers();
})();
