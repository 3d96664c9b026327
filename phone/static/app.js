// Pages are swapped in place, so that the last copy of each can be shown without a connection, and so that a verdict or
// a tick leaves the eye where it was. Without this script every link and button still works.

import * as queue from "./queue.js";
import * as store from "./store.js";

const line = document.getElementById("line");

function say(name, more = "") {
  line.hidden = !name;
  line.textContent = name ? `${line.dataset[name]} ${more}`.trim() : "";
}

const isPairing = () => Boolean(document.getElementById("pairing"));

async function keepCopy() {
  const copy = { path: location.pathname, title: document.title, html: document.getElementById("content").innerHTML, at: Date.now() };
  await store.put("pages", copy).catch(() => undefined);
}

function wire() {
  queue.wire();
  const scan = document.getElementById("scan");
  if (scan) scan.onchange = () => read(scan);
  toTheNewest(document);
  document.querySelectorAll("form").forEach((form) => delete form.dataset.sent);
}

function toTheNewest(within) {
  for (const row of within.querySelectorAll(".spots:not([data-newest-first])")) row.scrollLeft = row.scrollWidth;
}

// Put a fetched page in the place of this one.
function swap(text, address, { keepPlace = null } = {}) {
  const fresh = new DOMParser().parseFromString(text, "text/html");
  const place = keepPlace && placeOf(keepPlace);
  const scrolled = window.scrollY;
  const tapped = keepPlace && !keepPlace.closest("#bar") ? keepPlace.getBoundingClientRect().bottom : 0;
  const ids = (which) => (keepPlace ? [...document.querySelectorAll(which)].map((one) => one.id) : []);
  const unfolded = ids("details[id][open]"), folded = ids("details[data-first]:not([open])");
  for (const id of ["content", "bar"]) {
    const now = document.getElementById(id), next = fresh.getElementById(id);
    if (now && next) now.replaceChildren(...[...next.childNodes].map((one) => document.importNode(one, true)));
  }
  const setOpen = (which, open) => which.map((id) => document.getElementById(id)).filter(Boolean).forEach((one) => { one.open = open; });
  setOpen(unfolded, true);
  setOpen(folded, false);
  document.title = fresh.title;
  document.documentElement.lang = fresh.documentElement.lang;
  document.querySelector("meta[name=form-token]").content = fresh.querySelector("meta[name=form-token]").content;
  const links = fresh.querySelectorAll(".board a");
  document.querySelectorAll(".board a").forEach((link, at) => {
    if (links[at]?.hasAttribute("aria-current")) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  });
  wire();
  say("");
  if (!keepPlace) window.scrollTo(0, 0);
  else if (!place || !backTo(place)) window.scrollTo({ top: scrolled, behavior: "instant" });
  outOfTheBar(tapped);
  if (!keepPlace) document.querySelector("main h1")?.focus({ preventScroll: true });
  keepCopy();
}

// What now stands where the finger was is not left below the bar that comes up there.
function outOfTheBar(bottom) {
  const bar = document.querySelector(".bar-inside");
  const below = bar ? bottom + 8 - bar.getBoundingClientRect().top : 0;
  if (below > 0) window.scrollBy({ top: below, behavior: "instant" });
}

// What was judged goes away: what followed it takes its place on the screen, and the focus.
function placeOf(form) {
  const card = form.closest("[data-keep]");
  if (!card) return null;
  const after = [...document.querySelectorAll("[data-keep]")];
  const at = after.indexOf(card);
  return { top: card.getBoundingClientRect().top, ids: [...after.slice(at), ...after.slice(0, at).reverse()].map((one) => one.id) };
}

function backTo(place) {
  const next = place.ids.map((id) => document.getElementById(id)).find(Boolean);
  if (!next) return false;
  unfold(next);
  next.focus({ preventScroll: true });
  window.scrollBy({ top: next.getBoundingClientRect().top - place.top, behavior: "instant" });
  return true;
}

// A card on the review, with the row that it stands in: what is judged next is seen whole.
function unfold(card) {
  if (!card.matches(".judge")) return;
  card.querySelector(":scope > details").open = true;
  const row = card.parentElement.closest("details");
  if (row) row.open = true;
}

const isFolded = (card) => card.querySelector(":scope > details")?.open === false;

const asked = (address, options = {}) =>
  fetch(address, { ...options, headers: { Accept: "text/html", "X-Asked-By": "script", ...options.headers } });

async function visit(address, { push = true } = {}) {
  let answer;
  try {
    answer = await asked(address);
  } catch {
    const copy = await store.get("pages", new URL(address, location.href).pathname).catch(() => undefined);
    if (!copy) return say("notKept");
    if (push) history.pushState(null, "", address);
    document.title = copy.title;
    document.getElementById("content").replaceChildren(
      ...[...new DOMParser().parseFromString(copy.html, "text/html").body.childNodes].map((one) => document.importNode(one, true)));
    wire();
    return say("offline", new Date(copy.at).toLocaleString(document.documentElement.lang));
  }
  const text = await answer.text();
  if (!text.includes('id="content"')) return say("failed");
  if (new URL(answer.url).pathname === "/pair") return location.assign("/pair");
  if (push) history.pushState(null, "", answer.url);
  swap(text, answer.url);
}

let resting;

// What moved under the finger takes no tap for a second: a double tap would note it for the next vessel too.
function restButtons() {
  document.body.classList.add("just-answered");
  clearTimeout(resting);
  resting = setTimeout(() => document.body.classList.remove("just-answered"), 1000);
}

async function submit(form, button) {
  if (form.dataset.sent) return;
  form.dataset.sent = "yes"; // once: a second press while the answer is on its way would hit what comes next
  const fields = new URLSearchParams(new FormData(form));
  if (button?.name) fields.set(button.name, button.value);
  try {
    const answer = await asked(form.action, { method: "POST", body: fields });
    const text = await answer.text();
    if (answer.status === 401) return location.assign("/pair");
    if (!text.includes('id="content"')) return say("failed");
    history.replaceState(null, "", answer.url);
    restButtons();
    swap(text, answer.url, { keepPlace: form });
  } catch {
    say("notSent");
  } finally {
    delete form.dataset.sent;
  }
}

// Read the labels in a picture: made smaller first, since only the label matters.
async function read(input) {
  const told = document.getElementById("scanned"), [file] = input.files;
  if (!file) return;
  told.textContent = told.dataset.reading;
  const body = await smaller(file).catch(() => file);
  input.value = "";
  try {
    const token = document.querySelector("meta[name=form-token]").content;
    const answer = await fetch("/scan", { method: "POST", body, headers: { "X-Form-Token": token, "Content-Type": "image/jpeg" } });
    const found = await answer.json();
    if (found.vessels?.length === 1) return visit(found.vessels[0].address);
    told.textContent = found.error || told.dataset.which;
    for (const { id, address } of found.vessels || []) {
      const link = document.createElement("a");
      link.href = address;
      link.className = "button";
      link.textContent = id;
      told.append(" ", link);
    }
  } catch {
    told.textContent = told.dataset.failed;
  }
}

async function smaller(file) {
  const picture = await createImageBitmap(file);
  const scale = Math.min(1, 2000 / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(picture.width * scale);
  canvas.height = Math.round(picture.height * scale);
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  return new Promise((resolve, reject) => canvas.toBlob((blob) => (blob ? resolve(blob) : reject(new Error("empty"))), "image/jpeg", 0.9));
}

document.addEventListener("click", (event) => {
  const link = event.target.closest("a[href]");
  if (!link || event.defaultPrevented || event.button || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
  if ("full" in link.dataset || link.origin !== location.origin || link.getAttribute("href").startsWith("#") || isPairing()) return;
  event.preventDefault();
  visit(link.href);
});

document.addEventListener("submit", (event) => {
  const form = event.target;
  if ("full" in form.dataset || isPairing()) return;
  event.preventDefault();
  if (form.method === "get") visit(`${form.action}?${new URLSearchParams(new FormData(form))}`);
  else submit(form, event.submitter);
});

window.addEventListener("popstate", () => visit(location.href, { push: false }));
window.addEventListener("offline", () => say("offline", new Date().toLocaleTimeString(document.documentElement.lang)));
window.addEventListener("online", () => say(""));

// A row of pictures that was folded has no width before it opens.
document.addEventListener("toggle", (event) => { if (event.target.open) toTheNewest(event.target); }, true);

// Keys for the review at a desk.
const cards = () => [...document.querySelectorAll(".judge")];
const current = () => cards().find((card) => card.contains(document.activeElement)) || cards()[0];

function go(step) {
  const there = cards();
  const at = there.findIndex((card) => card.contains(document.activeElement));
  const next = there[Math.min(Math.max(at + step, 0), there.length - 1)];
  if (!next) return;
  unfold(next);
  next.focus({ preventScroll: true });
  next.scrollIntoView({ block: "start" });
}

function press(key) {
  const within = key === "u" ? document : current();
  if (key !== "u" && within && isFolded(within)) { // no verdict on what is not seen
    unfold(within);
    return true;
  }
  const button = within?.querySelector(`button[data-key="${key}"]`);
  button?.click();
  return Boolean(button);
}

document.addEventListener("keydown", (event) => {
  if (!cards().length && event.key.toLowerCase() !== "u") return;
  const field = event.target.closest("input:not([type=checkbox]), select, textarea");
  if (field && event.key === "Escape") return field.closest(".judge")?.focus({ preventScroll: true });
  if (field || event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  const key = event.key.toLowerCase();
  if (key === "j" || key === "k") go(key === "j" ? 1 : -1);
  else if (key === "n" && current()) {
    unfold(current());
    current().querySelector("input[name=note]").focus();
  }
  else if (!["c", "d", "w", "u"].includes(key) || !press(key)) return;
  event.preventDefault();
});

// The code of a QR code comes behind the # of the address, which no server sees.
function fillIn(form) {
  store.clear("pages").catch(() => undefined);
  globalThis.caches?.keys().then((names) => names.forEach((name) => caches.delete(name)));
  const { code, name, next } = form.elements;
  const [given, ...page] = decodeURIComponent(location.hash.slice(1)).split("/");
  if (given) code.value = given;
  const agent = navigator.userAgent;
  name.value ||= ["iPhone", "iPad", "Android", "Windows", "Mac", "Linux"].find((one) => agent.includes(one)) || "";
  history.replaceState(null, "", "/pair");
  if (!page.length) return;
  next.value = `/${page.join("/")}`; // a browser that a command at this machine opened
  form.requestSubmit();
}

if (isPairing()) {
  fillIn(document.getElementById("pairing"));
} else {
  wire();
  keepCopy();
  queue.start();
  // Only where the browser allows it: over TLS, and on this machine.
  navigator.serviceWorker?.register("/worker.js").catch((error) => console.info("no offline start", error));
}
