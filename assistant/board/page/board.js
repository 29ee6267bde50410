"use strict";
// The page of the board. It shows what the server sends and sends back which key was tapped, with the number of the
// question that stood there. All text is set as text, never as markup.

const LOST_AFTER_MS = 2250;   // the server beats once a second; three seconds are promised
const AGAIN_MS = 1000;
const SETTLE_MS = 350;        // a finger that comes down sooner after a new question was on its way to the old one
const DRAWING_PX = 190;       // a smaller drawing cannot be read; the sheet "More" has it whole
const LARGEST_FIT = 1.6;       // few words are larger than the style sheet has them
const SIGNS = { ".": "point", ",": "point", "-": "minus", "+": "plus", "*": "star", "/": "slash",
  Enter: "enter", Backspace: "erase", Escape: "stop", " ": "stop", n: "note", w: "why", q: "close" };
const HEARS = { yes: "Hears you", loud: "Too loud: use the keys", lost: "Hears nothing: use the keys", off: "Keys only" };

const at = (id) => document.getElementById(id);
const text = (element, words) => { if (element.textContent !== words) element.textContent = words; };
const make = (kind, words) => { const one = document.createElement(kind); one.textContent = words; return one; };

let socket = null;
let heardAt = 0;              // when the server was heard last
let board = null;
let may = "watch";
let leaving = false;
let before = 0, changedAt = 0;  // the question before this one, and when this one came
let ends = null;              // when the countdown ends, in this page's own time
let built = "";               // what the buttons were built from
let fitted = "";              // what the words were fitted to

function connect() {
  const scheme = location.protocol === "https:" ? "wss:" : "ws:";
  const mine = socket = new WebSocket(`${scheme}//${location.host}/live`);
  mine.onmessage = (event) => {
    if (mine !== socket) return;
    heardAt = performance.now();
    take(JSON.parse(event.data));
    tellLost(false);
  };
  mine.onclose = () => {
    if (mine !== socket) return;
    socket = null;
    tellLost(true);
    setTimeout(() => { if (socket === null) connect(); }, AGAIN_MS);
  };
}

function watchLine() {
  if (socket !== null && heardAt > 0 && performance.now() - heardAt > LOST_AFTER_MS) {
    const dead = socket;
    socket = null;
    tellLost(true);
    dead.close();
    connect();
  }
}

function tellLost(lost) {
  if (document.body.classList.contains("lost") === lost) return;
  document.body.classList.toggle("lost", lost);
  at("lost").hidden = !lost;
  text(at("lost"), lost ? "The connection is lost. These buttons do nothing; speak, or use the number pad." : "");
  enable();
  fit();
}

function enable() {
  const lost = document.body.classList.contains("lost") || board === null;
  for (const button of document.querySelectorAll("#answer button, #pad button"))
    button.disabled = lost || may !== "press";
  at("stop").disabled = lost || may === "watch";
  at("take").disabled = lost;
}

function take(message) {
  if (message.kind === "board") show(message);
  else if (message.kind === "level") level(message);
  else if (message.kind === "hello") hello(message);
  else if (message.kind === "hands") hands(message.may);
  else if (message.kind === "late") late();
}

function hello(message) {
  const keys = message.pad.map((key) => padKey(key));
  at("pad").replaceChildren(...keys);
  at("letters").replaceChildren(...message.letters.map((key) => button(key.names, key.label, "")));
}

function hands(now) {
  may = now;
  document.body.classList.toggle("watching", may !== "press");
  document.body.classList.toggle("taking", may === "take");
  document.body.classList.toggle("mayonlywatch", may === "watch");
  at("hands").hidden = may === "press";
  text(at("hands-words"), may === "take" ? "Another tablet has the keys; this one watches." : "This tablet watches.");
  enable();
  fit();
  toPapers();
}

function toPapers() {
  // Who only watched sees no customer's data.
  if (board !== null && board.ended && may !== "watch" && !leaving) {
    leaving = true;
    location.assign(`/sessions/${encodeURIComponent(board.ended)}`);
  }
}

function level(message) {
  at("bar").style.width = `${Math.round(100 * message.level)}%`;
  at("noise").hidden = message.noise === null;
  if (message.noise !== null) at("noise").style.left = `${Math.round(96 * message.noise)}%`;
}

function late() {
  text(at("message"), "That tap came late and was not taken. Look again.");
  fit();
}

function send(names) {
  if (socket === null || socket.readyState !== WebSocket.OPEN || board === null) return;
  const early = performance.now() - changedAt < SETTLE_MS && before > 0;
  socket.send(JSON.stringify({ names, question: early ? before : board.question }));
}

function button(names, label, words) {
  const one = make("button", words || label);
  one.type = "button";
  one.dataset.names = names;
  if (words && label) {
    const key = make("small", label);
    key.setAttribute("aria-hidden", "true");
    one.append(key);
    one.setAttribute("aria-label", words);
    one.title = `Key ${label}`;
  }
  one.addEventListener("click", () => send(names));
  return one;
}

function padKey(key) {
  const one = button(key.names, key.label, "");
  if (key.words) one.append(make("small", key.words));
  return one;
}

function choice(one) {
  return button(one.names, one.label, one.twice ? `${one.words} (tap twice)` : one.words);
}

function numberKeys(overRange) {
  const keys = ["7", "8", "9", "4", "5", "6", "1", "2", "3"].map((digit) => button(digit, digit, ""));
  const back = button("erase", "\u232B", "");
  back.setAttribute("aria-label", "delete a digit");
  keys.push(button("point", ".", ""), button("0", "0", ""), back);
  if (overRange) {
    const over = button("over-range", "OL", "over range");
    over.classList.add("word");
    keys.push(over);
  }
  return keys;
}

function show(now) {
  if (board !== null && now.question !== board.question) {
    before = board.question;
    changedAt = performance.now();
    more(false);
  }
  board = now;
  toPapers();
  document.body.classList.remove("joining");
  document.body.classList.toggle("verdict", now.mode === "concluding");
  text(at("where"), [now.step ? `Test ${now.step}` : "", now.title, now.modeWords].filter(Boolean).join(" \u00B7 "));
  document.title = now.headline ? `${now.headline} \u00B7 Board` : "Board";
  at("signal").hidden = !now.signal;
  at("signal").className = now.signal;
  text(at("signal"), now.signal);
  text(at("headline"), now.headline);
  paragraphs(at("lines"), now.lines);
  number(now);
  drawing(now.drawing);
  text(at("message"), [now.notice, now.message].filter(Boolean).join(" "));
  at("heard").replaceChildren(...(now.heard ? ["Heard ", make("b", now.heard)] : []));
  at("gear").replaceChildren(...now.gear.map((one) => { const item = make("li", one.words); item.classList.toggle("off", one.off); return item; }));
  at("hears").className = now.hears;
  at("meter").hidden = now.hears === "off" || now.hears === "lost";
  text(at("hears"), HEARS[now.hears]);
  results(now);
  text(at("said"), now.said);
  ends = now.countdown ? performance.now() + 1000 * now.countdown.seconds : null;
  text(at("clock-name"), now.countdown ? now.countdown.name : "");
  at("clock").hidden = ends === null;
  tick();
  buttons(now);
  enable();
  fit();
}

function paragraphs(place, lines) {
  if (JSON.stringify([...place.children].map((one) => one.textContent)) === JSON.stringify(lines)) return;
  place.replaceChildren(...lines.map((line) => make("p", line)));
}

function takesNumber(now) {
  // What is read back wants a yes or a no; another number can be keyed there as well, but rarely is.
  return now.asks === "number" && (now.typed !== "" || (now.mode !== "reading back" && now.mode !== "confirming"));
}

function number(now) {
  const asked = takesNumber(now) || now.asks === "signs";
  at("typed").hidden = !asked && !now.typed;
  text(at("digits"), now.typed || "\u2013");
  text(at("unit"), now.asks === "number" ? now.unit : "");
  const typed = Number.parseFloat(now.typed);
  const far = now.plausible !== null && now.typed !== "" && typed > Number.parseFloat(now.plausible[1]);
  at("typed").classList.toggle("far", far);
  text(at("range"), now.plausible ? `${now.plausible[0]} to ${now.plausible[1]} ${now.unit}`.trim() : "");
}

function drawing(found) {
  at("whole-drawing").hidden = found === null;
  for (const name of ["picture", "whole-picture"]) {
    if (found === null) { at(name).removeAttribute("src"); continue; }
    if (at(name).getAttribute("src") !== found.address) at(name).src = found.address;
    at(name).alt = found.words;
  }
}

function results(now) {
  const items = now.done.map((one) => { const item = make("li", one.words); item.value = one.number; return item; });
  at("done").replaceChildren(...items);
  at("last").replaceChildren(...items.slice(0, 2).map((one) => one.cloneNode(true)));
}

function buttons(now) {
  const wanted = JSON.stringify([now.question, now.choices, now.keys, now.asks, takesNumber(now), now.overRange]);
  if (wanted === built) return;
  built = wanted;
  at("choices").replaceChildren(...now.choices.map(choice));
  at("choices").classList.toggle("many", now.choices.length > 6);
  at("keys").replaceChildren(...now.keys.map(choice));
  at("number").hidden = !takesNumber(now);
  at("number").replaceChildren(...(takesNumber(now) ? numberKeys(now.overRange) : []));
  at("letters").hidden = now.asks !== "signs";
}

function tick() {
  if (ends === null) return;
  const left = Math.max(0, Math.ceil((ends - performance.now()) / 1000));
  text(at("seconds"), String(left));
  at("clock").classList.toggle("over", left === 0);
}

function fit() {
  const shape = JSON.stringify([innerWidth, innerHeight, may, at("message").textContent,
    at("lost").hidden, board === null ? null : { ...board, question: 0, said: "", countdown: ends !== null }]);
  if (shape === fitted) return;
  fitted = shape;
  // The words are as large as they fit: first with a drawing below and each sentence on a line of its own; then
  // without the drawing, then one after the other and with lower number keys.
  const has = board !== null && board.drawing !== null;
  for (const one of at("choices").children) narrow(one);
  if (has && beside()) {
    if (!grow(0.76, true, false)) grow(0.4, true, true);
    return;
  }
  at("last").before(at("drawing"));
  if (has && grow(0.76, true, false)) return;
  if (grow(0.8, false, false)) return;
  grow(0.4, false, true);
}

function narrow(one) {
  for (let size = 40; size >= 18; size = Math.min(size - 1, Math.floor(size * one.clientWidth / one.scrollWidth))) {
    one.style.fontSize = `${size}px`;
    if (one.scrollWidth <= one.clientWidth) return;
  }
}

function beside() {
  // A wide page often has room for the drawing under the buttons; the words keep their column.
  const figure = at("drawing"), answer = at("answer");
  if (!matchMedia("(orientation: landscape) and (min-width: 760px)").matches || may !== "press") return false;
  figure.hidden = false;
  answer.append(figure);
  return figure.clientHeight >= DRAWING_PX && answer.scrollHeight <= answer.clientHeight + 1;
}

function grow(least, drawn, dense) {
  const tell = at("tell"), figure = at("drawing");
  figure.hidden = !drawn;
  document.body.classList.toggle("dense", dense);
  const fits = (size) => {
    tell.style.setProperty("--fit", size.toFixed(2));
    const over = tell.scrollHeight > tell.clientHeight + 1 || tell.scrollWidth > tell.clientWidth + 1;
    return !over && !(drawn && figure.parentElement === tell && figure.clientHeight < DRAWING_PX);
  };
  if (!fits(least)) return false;
  let low = least, high = LARGEST_FIT;
  while (high - low > 0.05) {
    const middle = (low + high) / 2;
    if (fits(middle)) low = middle; else high = middle;
  }
  fits(low);
  return true;
}

function more(open) {
  at("more").hidden = !open;
  at("show-more").setAttribute("aria-expanded", String(open));
  text(at("show-more"), open ? "Back" : "More");
}

at("stop").addEventListener("click", () => send("stop"));
at("take").addEventListener("click", () => { if (socket !== null) socket.send('{"take":true}'); });
at("show-more").addEventListener("click", () => more(at("more").hidden));
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
  const onButton = event.target instanceof HTMLButtonElement;
  if (onButton && (event.key === "Enter" || event.key === " ")) return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const names = SIGNS[key] || (/^[0-9a-z]$/.test(key) ? key : "");
  if (!names || event.key === "Tab" || may === "watch" || (may !== "press" && names !== "stop")) return;
  event.preventDefault();
  send(names);
});
addEventListener("resize", fit);
setInterval(tick, 100);
setInterval(watchLine, 150);
connect();
