// Photos on their way to the computer. Each is kept on the phone until the computer has it, whatever happens to the
// network or to this page; the computer knows it by its content, so that it is never counted twice.

import { sha256 } from "./sha256.js";
import * as store from "./store.js";

const LONGEST_PAUSE_MS = 30000, FIRST_PAUSE_MS = 1500, ASK_EVERY_MS = 1500, KEEP_ANSWERS_MS = 86400000;
const token = () => document.querySelector("meta[name=form-token]").content;
const photos = new Map(); // by hash: {hash, name, taken, added, blob, state, why, html, sent}
let pause = FIRST_PAUSE_MS, isPumping = false, again = 0, asking = 0;

const list = () => document.getElementById("queue");
const unsent = () => [...photos.values()].filter((one) => one.state === "waiting" || one.state === "sending");
const unanswered = () => [...photos.values()].filter((one) => ["sent", "measuring"].includes(one.state));

// Keep a change on the phone, then show it. What is being sent is kept as waiting: a page that is closed sends it again.
async function keep(photo) {
  photos.set(photo.hash, photo);
  const { url, sent, ...record } = photo;
  try {
    await store.put("photos", { ...record, state: photo.state === "sending" ? "waiting" : photo.state });
  } catch (error) {
    console.info("not kept on the phone", error); // private windows have no room: it is sent from memory
  }
  show(photo);
}

export async function add(files) {
  for (const file of files) {
    const buffer = await file.arrayBuffer();
    const hash = await sha256(buffer);
    const known = photos.get(hash);
    if (known && known.state !== "refused") continue;
    const blob = new Blob([buffer], { type: file.type });
    await keep({ hash, name: file.name, taken: file.lastModified, added: Date.now(), blob, state: "waiting" });
  }
  pump();
}

// Send what waits, one after the other.
async function pump() {
  if (isPumping) return;
  isPumping = true;
  clearTimeout(again);
  try {
    for (let next; (next = unsent()[0]);) {
      if (!(await send(next))) {
        again = setTimeout(pump, pause);
        pause = Math.min(2 * pause, LONGEST_PAUSE_MS);
        break;
      }
      pause = FIRST_PAUSE_MS;
    }
  } finally {
    isPumping = false;
  }
  ask();
}

// Whether a photo needs to be sent no more: it arrived, or was refused for good.
async function send(photo) {
  const [known] = await answers([photo.hash]).catch(() => [undefined]);
  if (known === undefined && !navigator.onLine) return false;
  if (known) {
    await settle(photo, known);
    return true;
  }
  photo.state = "sending";
  photo.sent = 0;
  show(photo);
  const { status, error, wait } = await upload(photo);
  if (status === 200 || status === 201) {
    await keep({ ...photo, state: "sent", blob: null });
    return true;
  }
  photo.state = "waiting";
  if (status === 401) location.assign("/pair");
  if ([404, 413, 415, 422].includes(status)) {
    // Damaged on the way is worth some more tries; what is no picture stays none.
    photo.tries = (photo.tries || 0) + 1;
    if (status !== 422 || photo.tries > 3) {
      await keep({ ...photo, state: "refused", why: error || String(status), blob: null });
      return true;
    }
  }
  if (status === 403) await freshToken();
  if (wait) pause = wait * 1000;
  await keep(photo);
  return false;
}

function upload(photo) {
  return new Promise((resolve) => {
    const request = new XMLHttpRequest(); // fetch cannot tell how much is sent
    request.open("PUT", `/photos/${photo.hash}`);
    request.setRequestHeader("X-Form-Token", token());
    request.setRequestHeader("Content-Type", "application/octet-stream");
    request.setRequestHeader("X-Taken-Ms", String(photo.taken || ""));
    request.timeout = 600000;
    request.upload.onprogress = (event) => {
      photo.sent = event.lengthComputable ? event.loaded / event.total : 0;
      show(photo);
    };
    request.onload = () => {
      let error = "";
      try { error = JSON.parse(request.responseText).error || ""; } catch { /* a plain refusal */ }
      resolve({ status: request.status, error, wait: Number(request.getResponseHeader("Retry-After")) || 0 });
    };
    request.onerror = request.ontimeout = request.onabort = () => resolve({ status: 0 });
    request.send(photo.blob);
  });
}

async function freshToken() {
  const page = await fetch("/more").then((answer) => answer.text()).catch(() => "");
  const found = new DOMParser().parseFromString(page, "text/html").querySelector("meta[name=form-token]");
  if (found) document.querySelector("meta[name=form-token]").content = found.content;
}

async function answers(hashes) {
  const answer = await fetch(`/answers?of=${hashes.join(",")}`);
  if (answer.status === 401) location.assign("/pair");
  if (!answer.ok) throw new Error(String(answer.status));
  const found = await answer.json();
  const round = document.getElementById("round");
  if (round) {
    const open = new Set([...round.querySelectorAll("details[open]")].map((one) => one.id));
    const isFirst = !round.querySelector("details");
    round.replaceChildren(...nodes(found.round));
    if (!isFirst) for (const one of round.querySelectorAll("details")) one.open = open.has(one.id);
  }
  return found.answers;
}

async function settle(photo, found) {
  const state = { waiting: "sent", measuring: "measuring", done: "done", failed: "done" }[found.state];
  if (state !== photo.state || found.html !== photo.html) await keep({ ...photo, state, html: found.html, blob: null });
}

// Ask what became of what was sent, until all is answered.
async function ask() {
  clearTimeout(asking);
  const open = unanswered();
  if (!open.length) return;
  try {
    for (const found of await answers(open.slice(0, 40).map((one) => one.hash))) {
      const photo = photos.get(found.hash);
      if (photo) await settle(photo, found);
    }
  } catch (error) {
    console.info("no answer yet", error);
  }
  asking = setTimeout(ask, ASK_EVERY_MS);
}

const nodes = (html) => [...new DOMParser().parseFromString(html, "text/html").body.childNodes].map((one) => document.importNode(one, true));

function words(photo) {
  const text = list().dataset[photo.state] || "";
  return text.replace("{percent}", String(Math.round(100 * (photo.sent || 0)))).replace("{why}", photo.why || "");
}

function make(photo) {
  const item = document.createElement("li");
  item.id = `photo-${photo.hash}`;
  const preview = document.createElement("span");
  preview.className = "preview";
  if (photo.blob) {
    const image = new Image(64, 64);
    image.alt = "";
    image.src = photo.url ??= URL.createObjectURL(photo.blob);
    image.onerror = () => image.replaceWith(photo.name || "");
    preview.append(image);
  }
  const progress = document.createElement("progress");
  progress.max = 1;
  progress.setAttribute("aria-label", list().dataset.progress);
  const state = document.createElement("p");
  state.className = "state";
  const answer = document.createElement("div");
  answer.className = "answer";
  const side = document.createElement("div");
  side.append(state, progress, answer);
  item.append(preview, side);
  list().prepend(item);
  return item;
}

// Bring a photo's line up to date, without moving the others.
function show(photo) {
  const waiting = document.getElementById("waiting");
  if (waiting) {
    waiting.textContent = String(unsent().length);
    waiting.hidden = !unsent().length;
  }
  if (!list()) return;
  document.getElementById("queue-empty").hidden = photos.size > 0;
  document.getElementById("forget").hidden = ![...photos.values()].some((one) => ["done", "refused"].includes(one.state));
  const item = document.getElementById(`photo-${photo.hash}`) || make(photo);
  item.dataset.state = photo.state;
  item.querySelector(".state").textContent = `${list().dataset.photo} ${clock(photo.added)}: ${words(photo)}`;
  item.querySelector("progress").hidden = photo.state !== "sending";
  item.querySelector("progress").value = photo.sent || 0;
  if (photo.html && item.dataset.html !== photo.html) {
    item.dataset.html = photo.html;
    item.querySelector(".answer").replaceChildren(...nodes(photo.html));
  }
}

const clock = (ms) => new Date(ms).toTimeString().slice(0, 5);

async function forget() {
  for (const one of [...photos.values()].filter((photo) => ["done", "refused"].includes(photo.state))) {
    photos.delete(one.hash);
    await store.remove("photos", one.hash).catch(() => undefined);
    document.getElementById(`photo-${one.hash}`)?.remove();
  }
  document.getElementById("queue-empty").hidden = photos.size > 0;
  document.getElementById("forget").hidden = true;
}

// The page was shown, or swapped: fill its list and listen to its buttons.
export function wire() {
  for (const name of ["camera", "gallery"]) {
    const input = document.getElementById(name);
    if (input) input.onchange = async () => { await add([...input.files]); input.value = ""; };
  }
  const button = document.getElementById("forget");
  if (button) button.onclick = forget;
  [...photos.values()].sort((one, other) => one.added - other.added).forEach(show);
}

export async function start() {
  const kept = await store.all("photos").catch(() => []);
  for (const photo of kept) {
    const isOld = ["done", "refused"].includes(photo.state) && Date.now() - photo.added > KEEP_ANSWERS_MS;
    if (isOld) await store.remove("photos", photo.hash);
    else if (!photos.has(photo.hash)) photos.set(photo.hash, photo);
  }
  window.addEventListener("online", () => { pause = FIRST_PAUSE_MS; pump(); });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) pump(); });
  wire();
  pump();
}
