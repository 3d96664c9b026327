// Opens the page without a connection, as it was at the last visit. Browsers run this only over TLS and on the machine
// itself; elsewhere app.js keeps copies that last as long as the page stays open.

const NAME = "spawnrun-pages", MOST_PICTURES = 400;

async function fromNetwork(request) {
  const answer = await fetch(request);
  const path = new URL(request.url).pathname;
  if (answer.ok && !answer.redirected && answer.type === "basic" && !path.startsWith("/answers") && path !== "/pair") {
    const cache = await caches.open(NAME);
    await cache.put(request, answer.clone());
    const pictures = (await cache.keys()).filter((one) => new URL(one.url).pathname.startsWith("/picture/"));
    for (const old of pictures.slice(0, Math.max(0, pictures.length - MOST_PICTURES))) await cache.delete(old);
  }
  // Unpaired: what was kept of the farm goes.
  if (answer.status === 401 || (answer.redirected && new URL(answer.url).pathname === "/pair")) await caches.delete(NAME);
  return answer;
}

async function answered(request) {
  if (new URL(request.url).pathname.startsWith("/picture/")) {
    const kept = await caches.match(request);
    if (kept) return kept;
  }
  try {
    return await fromNetwork(request);
  } catch (error) {
    const kept = await caches.match(request, { ignoreVary: true });
    if (kept) return kept;
    throw error;
  }
}

// What today's list is made of: the page that registers this worker was opened before it.
const FIRST = ["/", "/static/app.css", "/static/app.js", "/static/queue.js", "/static/store.js", "/static/sha256.js",
  "/static/icon.svg"];

self.addEventListener("install", (event) => {
  self.skipWaiting();
  event.waitUntil(Promise.allSettled(FIRST.map((path) => fromNetwork(new Request(path, { headers: { Accept: "text/html" } })))));
});
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  if (event.request.method === "GET" && new URL(event.request.url).origin === location.origin) event.respondWith(answered(event.request));
});
