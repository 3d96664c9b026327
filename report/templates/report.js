"use strict";
// Sorting and filtering of the table of all vessels; the cards below follow the filter. Without it all is shown.
const table = document.getElementById("all");
const rows = Array.from(table.tBodies[0].rows);
const cards = new Map(Array.from(document.querySelectorAll("article"), (card) => [card.id, card]));
const batches = Array.from(document.querySelectorAll("section.batch"));
const controls = document.getElementById("controls");
const told = document.getElementById("told");
const fields = Array.from(controls.querySelectorAll("input, select"));
document.documentElement.classList.add("scripted");

function fits(row) {
  return fields.every((field) => {
    const wanted = field.value.trim().toLowerCase();
    const has = (field.name === "text" ? row.textContent : row.dataset[field.name]).toLowerCase();
    return wanted === "" || (field.name === "text" ? wanted.split(/\s+/).every((word) => has.includes(word)) : has === wanted);
  });
}

function filter() {
  let shown = 0;
  for (const row of rows) {
    row.hidden = !fits(row);
    shown += row.hidden ? 0 : 1;
    const card = cards.get(row.dataset.card);
    if (card) card.hidden = row.hidden;
  }
  for (const batch of batches) batch.hidden = !batch.querySelector("article:not([hidden])");
  // Printed is today's list; of all vessels those that were chosen here.
  document.documentElement.classList.toggle("chosen", shown < rows.length);
  told.textContent = `${shown} of ${rows.length} vessels shown`;
}

// An empty value comes last in either direction: no day is neither early nor late.
function compare(first, second, sign, numeric) {
  if (first === "" || second === "") return (first === "") - (second === "");
  return sign * (numeric ? Number(first) - Number(second) : first.localeCompare(second, undefined, { numeric: true }));
}

function sort(button) {
  const header = button.closest("th");
  const column = header.cellIndex;
  const rising = header.getAttribute("aria-sort") !== "ascending";
  for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
  header.setAttribute("aria-sort", rising ? "ascending" : "descending");
  const key = (row) => row.cells[column].dataset.order ?? row.cells[column].textContent.trim();
  const numeric = header.dataset.sort === "number";
  const sorted = rows.toSorted((a, b) => compare(key(a), key(b), rising ? 1 : -1, numeric));
  table.tBodies[0].append(...sorted);
}

for (const button of table.tHead.querySelectorAll("button")) button.addEventListener("click", () => sort(button));
for (const field of fields) field.addEventListener("input", filter);
controls.addEventListener("reset", () => setTimeout(filter));
controls.addEventListener("submit", (event) => event.preventDefault());
// A link unfolds what it leads to; one to a vessel that the filter hides resets the filter.
function unfold() {
  const target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (!target) return;
  if (cards.has(target.id) && target.hidden) controls.reset();
  for (let part = target; part; part = part.parentElement) if (part.tagName === "DETAILS") part.open = true;
  setTimeout(() => target.scrollIntoView());
}
window.addEventListener("hashchange", unfold);
filter();
unfold();
