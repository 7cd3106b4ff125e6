// Works out what was sold while it is typed: took 40, brought back 9, 1 sample, sold 30.
(function () {
  "use strict";
  const number = (box) => (/^\d+$/.test(box.value.trim()) ? Number(box.value) : 0);

  function work(row) {
    const took = Number(row.dataset.took);
    const key = row.dataset.row;
    const back = document.querySelector("[data-back='" + key + "']");
    const given = [...document.querySelectorAll("[data-given='" + key + "']")];
    const gone = number(back) + given.reduce((sum, box) => sum + number(box), 0);
    const typed = [back, ...given].some((box) => box.value.trim());
    const words = took - gone < 0 ? "more than the " + took + " it took" : "sold " + (took - gone);
    row.querySelector(".sold").textContent = typed ? words : "";
  }

  const rows = document.querySelectorAll(".back-row[data-counted]");
  const workAll = () => rows.forEach(work);
  document.querySelector(".stall-back").addEventListener("input", workAll);
  workAll();
})();
