// Keys for the review page. Without this script every button still works by pointer, Tab and Enter.
"use strict";

const cards = [...document.querySelectorAll("article")];

// The current card: the one with the focus, else the first.
const current = () => cards.find((card) => card.contains(document.activeElement)) || cards[0];

function go(step) {
  const at = cards.findIndex((card) => card.contains(document.activeElement));
  const next = cards[Math.min(Math.max(at + step, 0), cards.length - 1)];
  if (next) {
    next.focus({ preventScroll: true });
    next.scrollIntoView({ block: "start" });
  }
}

function press(key) {
  const within = key === "u" ? document : current();
  const button = within && within.querySelector(`button[data-key="${key}"]`);
  if (button) button.click();
  return Boolean(button);
}

document.addEventListener("keydown", (event) => {
  const field = event.target.closest("input:not([type=checkbox])");
  if (field && event.key === "Escape") {
    field.closest("article").focus({ preventScroll: true });
    return;
  }
  if (field || event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  const key = event.key.toLowerCase();
  if (key === "j" || key === "k") go(key === "j" ? 1 : -1);
  else if (key === "n" && current()) current().querySelector("input[name=note]").focus();
  else if (!["c", "d", "w", "u"].includes(key) || !press(key)) return;
  event.preventDefault();
});

// Send a verdict only once: a second key press while the page reloads would judge the next item.
document.addEventListener("submit", (event) => {
  if (document.body.dataset.sent) event.preventDefault();
  document.body.dataset.sent = "yes";
});
window.addEventListener("pageshow", () => delete document.body.dataset.sent);

if (location.hash === "#first" && cards[0]) cards[0].focus({ preventScroll: true });

// The newest days are at the right end; scroll there on narrow screens.
for (const row of document.querySelectorAll(".spots")) row.scrollLeft = row.scrollWidth;
