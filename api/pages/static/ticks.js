// How many rows are ticked, said beside the choice that uses them; and a box that ticks them all.
for (const table of document.querySelectorAll("table[data-ticks]")) {
  const told = document.getElementById(table.dataset.ticks);
  const boxes = [...table.querySelectorAll("tbody input[type=checkbox]")];
  const all = document.createElement("input");
  all.type = "checkbox";
  all.setAttribute("aria-label", "Tick every row of this page");
  table.querySelector("thead th").append(all);

  function count() {
    const ticked = boxes.filter((box) => box.checked).length;
    told.textContent = `${ticked} ticked`;
    all.checked = ticked === boxes.length && ticked > 0;
    all.indeterminate = ticked > 0 && ticked < boxes.length;
  }

  all.addEventListener("change", () => {
    for (const box of boxes) box.checked = all.checked;
    count();
  });
  table.addEventListener("change", count);
  count();
}
