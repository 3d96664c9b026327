// SHA-256 (FIPS 180-4). Browsers have it built in (crypto.subtle) only where the connection is encrypted; in a home
// network it often is not.

const primes = [];
for (let n = 2; primes.length < 64; n++) if (primes.every((prime) => n % prime)) primes.push(n);
const fraction = (x) => ((x - Math.floor(x)) * 2 ** 32) | 0;
const START = primes.slice(0, 8).map((prime) => fraction(Math.sqrt(prime)));
const ROUND = Int32Array.from(primes, (prime) => fraction(Math.cbrt(prime)));
const turn = (x, n) => (x >>> n) | (x << (32 - n));

function mix(state, view, at, words) {
  for (let i = 0; i < 16; i++) words[i] = view.getInt32(at + 4 * i);
  for (let i = 16; i < 64; i++) {
    const p = words[i - 15], q = words[i - 2];
    const s0 = turn(p, 7) ^ turn(p, 18) ^ (p >>> 3), s1 = turn(q, 17) ^ turn(q, 19) ^ (q >>> 10);
    words[i] = (words[i - 16] + s0 + words[i - 7] + s1) | 0;
  }
  let [a, b, c, d, e, f, g, h] = state;
  for (let i = 0; i < 64; i++) {
    const one = (h + (turn(e, 6) ^ turn(e, 11) ^ turn(e, 25)) + ((e & f) ^ (~e & g)) + ROUND[i] + words[i]) | 0;
    const two = ((turn(a, 2) ^ turn(a, 13) ^ turn(a, 22)) + ((a & b) ^ (a & c) ^ (b & c))) | 0;
    h = g; g = f; f = e; e = (d + one) | 0; d = c; c = b; b = a; a = (one + two) | 0;
  }
  [a, b, c, d, e, f, g, h].forEach((x, i) => { state[i] = (state[i] + x) | 0; });
}

function digest(buffer) {
  const size = buffer.byteLength, whole = size - (size % 64);
  const state = Int32Array.from(START), words = new Int32Array(64);
  const view = new DataView(buffer);
  for (let at = 0; at < whole; at += 64) mix(state, view, at, words);
  const rest = new Uint8Array(size - whole < 56 ? 64 : 128);
  rest.set(new Uint8Array(buffer, whole));
  rest[size - whole] = 128;
  const end = new DataView(rest.buffer);
  end.setUint32(rest.length - 8, Math.floor(size / 2 ** 29));
  end.setUint32(rest.length - 4, (size * 8) >>> 0);
  for (let at = 0; at < rest.length; at += 64) mix(state, end, at, words);
  return new Uint8Array(Int32Array.from(state, (x) => new DataView(Int32Array.of(x).buffer).getInt32(0)).buffer);
}

const hex = (bytes) => Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");

// The hash of a buffer in hexadecimal, without crypto.subtle.
export const ownSha256 = (buffer) => hex(digest(buffer));

// The hash of a buffer in hexadecimal, by the browser's own function where it has one.
export async function sha256(buffer) {
  if (globalThis.crypto && crypto.subtle) return hex(new Uint8Array(await crypto.subtle.digest("SHA-256", buffer)));
  return ownSha256(buffer);
}
