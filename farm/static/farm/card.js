// Work the card out anew as its fields change. Without this script, a button does the same.
const form = document.getElementById("card");
let waiting = 0;
let asked = null;

function parts(choosing) {
  // A choice changes what the blank numbers stand for; a number changes the answer only.
  return choosing ? ["numbers", "headline", "answer"] : ["headline", "answer"];
}

async function workOut(choosing) {
  asked?.abort();
  asked = new AbortController();
  const fields = [...new FormData(form)].filter(([, value]) => value !== "");
  const address = `${location.pathname}?${new URLSearchParams(fields)}`;
  const answer = document.getElementById("answer");
  answer.classList.add("waiting");
  try {
    const response = await fetch(address, { signal: asked.signal });
    if (!response.ok) throw new Error(response.statusText);
    const page = new DOMParser().parseFromString(await response.text(), "text/html");
    for (const id of parts(choosing)) {
      const fresh = page.getElementById(id);
      if (fresh) document.getElementById(id).replaceChildren(...fresh.childNodes);
    }
    // What does not go with a choice is chosen anew: a pack of another species.
    for (const { name, value } of page.querySelectorAll("#card select")) {
      if (choosing) form.elements.namedItem(name).value = value;
    }
    history.replaceState(null, "", address);
    answer.classList.remove("waiting");
  } catch (error) {
    if (error.name !== "AbortError") form.submit();
  }
}

if (form) {
  document.body.classList.add("live");
  form.addEventListener("input", (event) => {
    clearTimeout(waiting);
    const choosing = event.target.tagName === "SELECT";
    waiting = setTimeout(workOut, choosing ? 0 : 350, choosing);
  });
}
