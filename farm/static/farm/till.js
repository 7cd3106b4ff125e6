// The till without waiting: a tap counts at once and is sent behind it; without a signal it stays
// on this phone until there is one. Each tap has a number of its own, so it counts once.
(function () {
  "use strict";
  const till = document.querySelector(".till");
  const address = new URL(till.dataset.address, location.href).pathname;

  function show(form, sold, left) {
    const said = form.querySelector("output");
    said.dataset.sold = Number(said.dataset.sold) + sold;
    said.dataset.left = Number(said.dataset.left) + left;
    if ("counted" in form.dataset) {
      const there = Number(said.dataset.left);
      said.textContent = said.dataset.sold + " sold, " + Math.max(0, there) + " left";
      const over = form.querySelector(".over");
      over.querySelector("strong").textContent = -there;
      over.hidden = there >= 0;
    }
  }

  // What was tapped on this page, the last at the end: what a tap back takes back.
  const tapped = new Map();

  function count(form, what) {
    const last = tapped.get(form) || [];
    const of = what === "back" ? last.pop() || "sold" : what;
    const sign = what === "back" ? -1 : 1;
    if (what !== "back") last.push(what);
    tapped.set(form, last);
    show(form, of === "sold" ? sign : 0, -sign);
  }

  function tell(form, words) {
    let line = form.querySelector(".refusal");
    if (!line) {
      line = document.createElement("p");
      line.className = "refusal";
      line.setAttribute("role", "alert");
      form.append(line);
    }
    line.textContent = words;
  }

  async function post(form, body) {
    const token = form.elements.namedItem("csrfmiddlewaretoken").value;
    const answer = await fetch(address, {
      method: "POST", body: new URLSearchParams(body), credentials: "same-origin",
      headers: { Accept: "application/json", "X-CSRFToken": token },
    });
    if (!answer.ok) throw new Error("not taken");
    return Object.entries(await answer.json())[0];
  }

  // One after another: a tap that takes the last one back must come after it.
  let turn = Promise.resolve();

  async function send(form, body) {
    const waiting = window.Waiting ? await Waiting.waiting() : [];
    if (!waiting.some((one) => one.address === address)) {
      try {
        const [state, said] = await post(form, body);
        if (state === "error") {
          tell(form, said.words);
          count(form, body.get("what") === "back" ? "sold" : "back");
        }
        return;
      } catch (lost) {
        if (!window.Waiting) throw lost;
      }
    }
    await Waiting.keep(address, [...body.entries()]);
    Waiting.send();
  }

  till.addEventListener("submit", (event) => {
    const form = event.target;
    const pressed = event.submitter;
    if (!("counted" in form.dataset) || !pressed) return;
    event.preventDefault();
    const body = new FormData(form);
    body.set("uuid", crypto.randomUUID());
    body.set("what", pressed.value);
    count(form, pressed.value);
    turn = turn.then(() => send(form, body)).catch(() => tell(form, "Not sent. Tap again."));
  });

  // Taps that still wait on this phone are counted on top of what the page knows. Whose taps these
  // are is known from the page, also before the worker has been told.
  async function begin() {
    const person = Number(document.body.dataset.person);
    if (!(await Waiting.known("person"))) await Waiting.know("person", person);
    for (const one of await Waiting.waiting()) {
      if (one.address !== address) continue;
      const said = Object.fromEntries(one.values);
      const form = till.querySelector("[data-item='" + said.item + "']");
      if (form) count(form, said.what);
    }
  }

  if (window.Waiting) begin().catch(() => {});
})();
