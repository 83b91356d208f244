"use strict";
// Everything the page does: marks answers, opens explanations, hands the sheet over. No request leaves it.
const quiz = JSON.parse(document.getElementById("quiz").textContent);
const given = quiz.items.map(() => 0);

const K = Uint32Array.from({ length: 64 }, (_, i) => fraction(Math.cbrt(prime(i))));
const START = Uint32Array.from({ length: 8 }, (_, i) => fraction(Math.sqrt(prime(i))));
function prime(n) {
  for (let c = 2, found = -1; ; c++) {
    let whole = true;
    for (let d = 2; d * d <= c; d++) if (c % d === 0) { whole = false; break; }
    if (whole && ++found === n) return c;
  }
}
function fraction(x) { return ((x - Math.floor(x)) * 4294967296) >>> 0; }

// SHA-256 (FIPS 180-4): a page opened from a file has no crypto.subtle in every browser.
function sha256(bytes) {
  const padded = new Uint8Array(((bytes.length + 8) >> 6) * 64 + 64);
  padded.set(bytes);
  padded[bytes.length] = 128;
  const view = new DataView(padded.buffer);
  view.setUint32(padded.length - 4, bytes.length * 8);
  const h = START.slice(), w = new Uint32Array(64);
  const turn = (x, n) => (x >>> n) | (x << (32 - n));
  for (let at = 0; at < padded.length; at += 64) {
    for (let i = 0; i < 16; i++) w[i] = view.getUint32(at + 4 * i);
    for (let i = 16; i < 64; i++) {
      const a = w[i - 15], b = w[i - 2];
      w[i] = w[i - 16] + (turn(a, 7) ^ turn(a, 18) ^ (a >>> 3)) + w[i - 7] + (turn(b, 17) ^ turn(b, 19) ^ (b >>> 10));
    }
    let [a, b, c, d, e, f, g, o] = h;
    for (let i = 0; i < 64; i++) {
      const one = (o + (turn(e, 6) ^ turn(e, 11) ^ turn(e, 25)) + ((e & f) ^ (~e & g)) + K[i] + w[i]) | 0;
      const two = ((turn(a, 2) ^ turn(a, 13) ^ turn(a, 22)) + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      o = g; g = f; f = e; e = (d + one) | 0; d = c; c = b; b = a; a = (one + two) | 0;
    }
    [a, b, c, d, e, f, g, o].forEach((x, i) => { h[i] += x; });
  }
  const out = new Uint8Array(32);
  h.forEach((x, i) => new DataView(out.buffer).setUint32(4 * i, x));
  return out;
}

const text = new TextEncoder();
const hex = (bytes) => Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
const unhex = (s) => Uint8Array.from(s.match(/../g) || [], (x) => parseInt(x, 16));
const digest = (item, place) => hex(sha256(text.encode(item.salt + "\u0000answer\u0000" + place)));
const rightOf = (item) => [...Array(item.choices).keys()].find((place) => digest(item, place) === item.digest);

function opened(item) {
  const place = rightOf(item);
  const sealed = Uint8Array.from(atob(item.sealed), (c) => c.charCodeAt(0));
  for (let at = 0, n = 0; at < sealed.length; at += 32, n++) {
    const key = sha256(text.encode(item.salt + "\u0000key\u0000" + place + "\u0000" + n));
    for (let i = 0; i < 32 && at + i < sealed.length; i++) sealed[at + i] ^= key[i];
  }
  return JSON.parse(new TextDecoder().decode(sealed));
}

const section = (n) => document.getElementById("q" + (n + 1));

function reveal(n) {
  const item = quiz.items[n], right = rightOf(item), box = section(n);
  const told = opened(item), verdict = box.querySelector(".verdict");
  box.querySelectorAll("input").forEach((input) => { input.disabled = true; });
  box.querySelector(".give").hidden = true;
  const hit = given[n] === right + 1;
  const answer = box.querySelectorAll("label")[right].textContent.trim();
  verdict.textContent = hit ? "✓ Right." : given[n] ? "✗ Not this time. Right is: " + answer : "– Not answered. Right is: " + answer;
  verdict.className = "verdict " + (hit ? "hit" : "miss");
  box.querySelector(".why").textContent = told.explanation;
  // The staves were drawn by the maker's program and are part of this file, never the viewer's input.
  box.querySelector(".evidence").innerHTML = told.evidence;
  box.querySelector(".after").hidden = false;
  return hit;
}

function progress() {
  const done = given.filter((x) => x).length;
  document.getElementById("progress").textContent = done + " of " + given.length + " answered";
}

function give(n) {
  const picked = section(n).querySelector("input:checked");
  const note = section(n).querySelector(".verdict");
  if (!picked) { note.textContent = "Choose an answer first."; return; }
  given[n] = Number(picked.value);
  progress();
  if (quiz.reveal === "at once") {
    reveal(n);
    // The button that had the focus is gone: without this the next Tab would start at the top in some browsers.
    note.tabIndex = -1;
    note.focus();
  }
  else { note.textContent = "Noted. You may still change it until you finish."; }
}

const SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
let mark = null, handed = false;
function code() {
  if (!mark) mark = crypto.getRandomValues(new Uint8Array(4));
  let number = 0n, most = 1n;
  for (const answer of given) { number = number * 9n + BigInt(answer); most *= 9n; }
  const width = Math.ceil((most - 1n).toString(2).replace(/^0$/, "").length / 8);
  const tail = [];
  for (let i = 0; i < width; i++) { tail.unshift(Number(number & 255n)); number >>= 8n; }
  const body = [1, ...unhex(quiz.id), ...mark, given.length, ...tail];
  const check = sha256(Uint8Array.from([...text.encode("larkstair sheet"), ...body])).slice(0, 4);
  let bits = "";
  for (const byte of [...body, ...check]) bits += byte.toString(2).padStart(8, "0");
  let out = "";
  for (let i = 0; i < bits.length; i += 5) out += SIGNS[parseInt(bits.slice(i, i + 5).padEnd(5, "0"), 2)];
  return out.match(/.{1,5}/g).join("-");
}

function finish() {
  let hits = 0;
  quiz.items.forEach((_, n) => { if (reveal(n)) hits++; });
  document.getElementById("finish").hidden = true;
  document.getElementById("result").hidden = false;
  document.getElementById("score").textContent = hits + " of " + given.length + " right";
  document.getElementById("code").textContent = code();
  document.getElementById("score").focus();
}

function save() {
  const sheet = { kind: "larkstair answers", schema: 1, code: code(), nickname: document.getElementById("nickname").value };
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([JSON.stringify(sheet)], { type: "application/json" }));
  link.download = "answers-" + quiz.id + ".json";
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  handed = true;
}

function copy() {
  handed = true;
  const said = document.getElementById("copied"), shown = document.getElementById("code");
  const pick = () => { getSelection().selectAllChildren(shown); said.textContent = "The code is selected: copy it."; };
  if (navigator.clipboard) navigator.clipboard.writeText(shown.textContent).then(() => { said.textContent = "Copied."; }, pick);
  else pick();
}

// Some browsers put ticks back after a reload; the answers behind them are gone, so the ticks go too.
addEventListener("pageshow", () => {
  document.querySelectorAll("input[type=radio]").forEach((input) => {
    const kept = Number(input.name.slice(1)) - 1;
    input.checked = given[kept] === Number(input.value);
  });
});
addEventListener("beforeunload", (event) => { if (!handed && given.some((x) => x)) event.preventDefault(); });
quiz.items.forEach((_, n) => section(n).querySelector(".give").addEventListener("click", () => give(n)));
document.querySelectorAll("audio").forEach((a) => a.addEventListener("play", () => {
  document.querySelectorAll("audio").forEach((b) => { if (b !== a) b.pause(); });
}));
document.getElementById("finish").addEventListener("click", finish);
document.getElementById("save").addEventListener("click", save);
document.getElementById("copy").addEventListener("click", copy);
document.body.classList.add("ready");
progress();
