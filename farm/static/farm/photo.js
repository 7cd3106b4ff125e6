// Read a label's photo as soon as it is taken or chosen. The page works without: the button sends it.
(function () {
  "use strict";
  // Two parts on one page bring this file twice; the second run finds nothing left to do.
  if (window.photoPrepared) return;
  window.photoPrepared = true;
  document.querySelectorAll(".reads-label input[type=file]").forEach((input) => {
    input.addEventListener("change", () => {
      if (input.files.length) input.form.requestSubmit();
    });
  });
})();
