// Fill an input from a label's square code, where the browser can read one by itself.
// The page works without: the button stays hidden, and the code is typed.
(function () {
  "use strict";
  const BETWEEN_LOOKS_MS = 200;
  const GIVE_UP_MS = 60000;

  // A label says the bare code, an address with the code last, or GS1's with the lot after 10.
  function codeIn(text) {
    const parts = text.split(/[?#]/)[0].split("/").filter(Boolean);
    const key = parts.indexOf("01");
    for (let at = key; key >= 0 && at + 1 < parts.length; at += 2) {
      if (parts[at] === "10") return parts[at + 1];
    }
    return parts.pop() || "";
  }

  function wait(ms) {
    return new Promise((done) => setTimeout(done, ms));
  }

  async function look(detector, picture, goesOn) {
    const until = Date.now() + GIVE_UP_MS;
    while (goesOn() && Date.now() < until) {
      // A frame that is not ready yet is no fault: look again.
      const found = await detector.detect(picture).catch(() => []);
      if (found.length) return codeIn(found[0].rawValue.trim());
      await wait(BETWEEN_LOOKS_MS);
    }
    return "";
  }

  function prepare(part, detector) {
    const button = part.querySelector("button");
    const picture = part.querySelector("video");
    const said = part.querySelector("[role=status]");
    const label = button.textContent;
    let stream = null;

    function stop() {
      if (stream) stream.getTracks().forEach((track) => track.stop());
      stream = null;
      picture.srcObject = null;
      picture.parentElement.hidden = true;
      button.textContent = label;
    }

    function fill(code) {
      const input = part.closest("form").elements.namedItem(part.dataset.into);
      input.value = code;
      input.dispatchEvent(new Event("input", { bubbles: true }));
      input.dispatchEvent(new Event("change", { bubbles: true }));
      input.focus();
    }

    async function start() {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
      picture.srcObject = stream;
      picture.parentElement.hidden = false;
      button.textContent = "Stop the camera";
      said.textContent = "Hold the label's square code before the camera.";
      await picture.play();
      const code = await look(detector, picture, () => stream !== null);
      if (stream === null) return;
      stop();
      if (code) fill(code);
      said.textContent = code ? "Read " + code + "." : "No code was seen. Type it instead.";
    }

    button.addEventListener("click", () => {
      if (stream) {
        stop();
        said.textContent = "";
        return;
      }
      start().catch(() => {
        stop();
        said.textContent = "The camera cannot be used here. Type the code instead.";
      });
    });
    part.hidden = false;
  }

  async function begin() {
    if (!("BarcodeDetector" in window) || !navigator.mediaDevices) return;
    const formats = await window.BarcodeDetector.getSupportedFormats();
    if (!formats.includes("qr_code")) return;
    const detector = new window.BarcodeDetector({ formats: ["qr_code"] });
    document.querySelectorAll(".scan[hidden]").forEach((part) => prepare(part, detector));
  }

  // Two parts on one page bring this file twice; the second run finds nothing left to do.
  if (window.scanPrepared) return;
  window.scanPrepared = true;
  begin();
})();
