"use strict";
// Keeps the page fresh, sends what people enter, and reads the charts. Everything that is shown in words or figures
// comes drawn from the service; this only puts it in its place.

const page = document.body;
const words = JSON.parse(page.dataset.words || "{}");
const api = page.dataset.api;
const $ = (id) => document.getElementById(id);

// ---- Talking to the service --------------------------------------------------------------------------------------

function say(text, bad) {
  const toast = $("toast");
  toast.textContent = text;
  toast.className = bad ? "shown bad" : "shown";
  clearTimeout(say.timer);
  say.timer = setTimeout(() => { toast.className = ""; }, bad ? 9000 : 4000);
}

const filled = (sentence, ...figures) => figures.reduce((text, figure, place) => text.replaceAll(`{${place}}`, figure), sentence);
const meta = (key) => { const it = document.querySelector(`meta[name="${key}"]`); return it ? it.content : ""; };

/// Longest wait for an answer; what was asked may be done later all the same.
const ANSWER_MS = 8000;

async function post(path, body) {
  let answer;
  try {
    answer = await fetch(api + path, {
      method: "POST",
      credentials: "same-origin",
      headers: {
        "Content-Type": "application/json",
        "Accept-Language": document.documentElement.lang,
        "X-Lauterd-Csrf": meta("csrf"),
        ...(name ? { "X-Lauterd-Who": encodeURIComponent(name) } : {}),
      },
      body: JSON.stringify(body),
      signal: AbortSignal.timeout(ANSWER_MS),
    });
    if (answer.ok) return await answer.json();
  } catch (error) {
    throw new Error(error.name === "TimeoutError" ? filled(words.no_answer, ANSWER_MS / 1000) : words.unreachable);
  }
  const told = { error: answer.statusText };
  try { Object.assign(told, await answer.json()); } catch { /* no body */ }
  if (answer.status === 401) { sessionOver(); told.error = words.session_over; }
  const error = new Error(told.error);
  error.doubtful = (told.faults || []).some((fault) => fault.key === "doubtful");
  throw error;
}

// ---- Who it is ---------------------------------------------------------------------------------------------------

const kept = {
  get: (key) => { try { return localStorage.getItem("lauterd-" + key); } catch { return null; } },
  set: (key, value) => { try { localStorage.setItem("lauterd-" + key, value); } catch { /* stays for this page */ } kept[key] = value; },
};
/// A typed name counts for a shift.
const SHIFT_MS = 10 * 3600 * 1000;
const account = meta("user");
let name = account || (Date.now() - Number(kept.get("who-at")) < SHIFT_MS && kept.get("who")) || "";

function showName() {
  page.classList.add("role-" + (meta("role") || "engineer"));
  // The page of all tuns takes nothing from anybody.
  if (!$("who")) return;
  if (account) {
    $("who").hidden = true;
    $("account").hidden = false;
    $("account-name").textContent = account;
  } else {
    $("who").textContent = name ? name : words.who;
  }
}

/// Says that nothing counts any more until somebody signs in, and where.
function sessionOver() {
  const over = $("session-over");
  if (!over || !over.hidden) return;
  over.hidden = false;
  $("call").textContent = words.session_over;
}

function askName() {
  return new Promise((done) => {
    const field = $("who-name");
    if (!field) return done("");
    field.value = name;
    open("dialog-who", async () => {
      const given = field.value.trim();
      if (!given) throw trouble(field, words.text);
      name = given;
      kept.set("who", name);
      kept.set("who-at", String(Date.now()));
      showName();
      done(name);
    });
  });
}

async function who() {
  return name || askName();
}

// ---- Dialogs -----------------------------------------------------------------------------------------------------

function trouble(field, text) {
  if (field) { field.setAttribute("aria-invalid", "true"); field.focus(); }
  return new Error(text);
}

/// How long a question stands before it can be answered: the second of two taps must not answer it.
const LOOK_MS = 1000;

/// Does something once, however often its button is pressed meanwhile.
async function once(button, act) {
  if (button.dataset.sending) return;
  const before = button.textContent;
  button.dataset.sending = "yes";
  button.setAttribute("aria-disabled", "true");
  if (button.classList.contains("save")) button.textContent = words.sending;
  try {
    await act();
  } finally {
    delete button.dataset.sending;
    button.removeAttribute("aria-disabled");
    if (button.textContent === words.sending) button.textContent = button.dataset.next || before;
    delete button.dataset.next;
  }
}

let opener = null;
function open(id, send) {
  const dialog = $(id);
  if (!dialog) return;
  const complaint = dialog.querySelector(".trouble");
  complaint.hidden = true;
  dialog.querySelectorAll("[aria-invalid]").forEach((field) => field.removeAttribute("aria-invalid"));
  if (id !== "dialog-who") opener = document.activeElement && document.activeElement.id;
  const first = dialog.querySelector("input:not([type=radio])");
  // What only has to be confirmed must not be confirmed by the second of the two taps, or Enters, that asked for it.
  const opened = first ? -LOOK_MS : performance.now();
  const save = dialog.querySelector(".save");
  save.dataset.says ??= save.textContent;
  save.textContent = save.dataset.says;
  dialog.querySelector("form").onsubmit = (event) => {
    event.preventDefault();
    if (event.timeStamp - opened < LOOK_MS) return;
    // Two taps, or Enter twice, are one order.
    once(save, async () => {
      complaint.hidden = true;
      try {
        await send();
        dialog.close();
      } catch (error) {
        complaint.textContent = error.doubtful ? error.message : words.failed + " " + error.message;
        complaint.hidden = false;
        if (error.doubtful) {
          save.dataset.next = words.sure;
          await new Promise((done) => { setTimeout(done, LOOK_MS); });
        }
      }
    });
  };
  dialog.showModal();
  if (first) first.select();
  else if (!dialog.querySelector("input")) dialog.querySelector("[data-close]").focus();
}

// The second of two taps, or a bouncing Enter, must not press what lay beneath the dialog.
const TAP_MS = 500;
const BOUNCE_MS = 150;
let closedAt = -TAP_MS;

let enteredAt = -TAP_MS;

/// By when it happened, not by when a busy page came to it.
function isLeftOver(event) {
  const byKey = event.detail === 0;
  if (byKey && event.timeStamp - enteredAt < TAP_MS) return true;
  return event.timeStamp - closedAt < (event.detail > 1 ? TAP_MS : byKey ? BOUNCE_MS : 0);
}

document.querySelectorAll("dialog").forEach((dialog) => {
  dialog.addEventListener("keydown", (event) => { if (event.key === "Enter") enteredAt = event.timeStamp; });
  dialog.addEventListener("close", () => {
    closedAt = performance.now();
    const back = opener && $(opener);
    if (back) back.focus();
  });
});

/// A plain decimal number. `fine`: three decimals are usual, as in a specific gravity.
function number(field, needed = true, fine = false) {
  const typed = field.value.trim().replace("−", "-");
  field.removeAttribute("aria-invalid");
  if (!typed && !needed) return null;
  if (!/^[+-]?\d+([.,]\d+)?$/.test(typed)) throw trouble(field, typed ? words.decimal_only : words.number);
  // 4.500 is four and a half to one reader and four thousand five hundred to another.
  const other = words.point === "," ? "." : ",";
  if (!fine && new RegExp(`^[+-]?\\d{1,3}\\${other}\\d{3}$`).test(typed)) throw trouble(field, filled(words.which_number, typed, words.point));
  return Number(typed.replace(",", "."));
}

const picked = (dialog, field) => $(dialog).querySelector(`[name=${field}]:checked`).value;

// ---- What the buttons do -----------------------------------------------------------------------------------------

const operate = async (button, body) => {
  const about = button.dataset.instrument ? "?instrument=" + encodeURIComponent(button.dataset.instrument) : "";
  await post("alarms/" + button.dataset.alarm + about, { who: await who(), ...body });
  say(words.saved);
};

const plainly = (action) => (button) => once(button, async () => {
  try { await operate(button, { action }); } catch (error) { say(words.failed + " " + error.message, true); }
});

const acts = {
  acknowledge: plainly("acknowledge"),
  "acknowledge-group": (button) => once(button, async () => {
    try {
      const group = [...document.querySelectorAll(".group")].find((it) => it.dataset.link === button.dataset.link);
      for (const one of group ? [...group.querySelectorAll("[data-act=acknowledge]")] : []) await operate(one, { action: "acknowledge" });
    } catch (error) { say(words.failed + " " + error.message, true); }
  }),
  unshelve: plainly("unshelve"),
  "return-to-service": plainly("return-to-service"),

  async shelve(button) {
    await who();
    $("shelve-name").textContent = button.dataset.name;
    const longest = Number(button.dataset.longest);
    document.querySelectorAll("#dialog-shelve [name=minutes]").forEach((choice) => {
      choice.disabled = Number(choice.value) > longest;
      if (choice.disabled && choice.checked) $("dialog-shelve").querySelector("[name=minutes]").checked = true;
    });
    open("dialog-shelve", async () => {
      const reason = $("shelve-reason");
      if (!reason.value.trim()) throw trouble(reason, words.text);
      await operate(button, { action: "shelve", minutes: Number(picked("dialog-shelve", "minutes")), reason: reason.value.trim() });
    });
  },

  sample(button) {
    const { place, what } = button.dataset;
    const field = $("sample-value");
    const gravity = what === "gravity";
    field.value = "";
    $("sample-name").textContent = button.dataset.name;
    $("sample-method").hidden = !gravity;
    $("hint-kettle").hidden = place !== "kettle";
    $("hint-runnings").hidden = place === "kettle" || what === "volume";
    const method = gravity && kept.get("method");
    if (method) { const choice = document.querySelector(`#sample-method [value=${method}]`); if (choice) choice.checked = true; }
    showMethod(what);
    let sure = null;
    open("dialog-sample", async () => {
      const value = number(field, true, what === "gravity" && words.gravity === "SG");
      const body = { place };
      if (what === "ph") body.ph = value;
      else if (what === "volume") body.volume_l = words.volume === "hL" ? 100 * value : value;
      else if (picked("dialog-sample", "method") === "bx") body.gravity_bx = value;
      else if (words.gravity === "SG") body.gravity_sg = value;
      else body.gravity_p = value;
      if (gravity) kept.set("method", picked("dialog-sample", "method"));
      const given = JSON.stringify(body);
      try {
        const taken = await post(given === sure ? "samples" : "samples?ask=true", body);
        const written = taken.recorded === false ? words.kept : words.saved;
        say(taken.repeated ? words.repeated : written);
      } catch (error) {
        if (error.doubtful) sure = given;
        throw error;
      }
    });
  },

  withdraw(button) {
    $("withdraw-name").textContent = button.dataset.name;
    open("dialog-withdraw", async () => {
      await post(`samples/${button.dataset.number}/withdraw`, {});
      say(words.withdrawn);
    });
  },

  async note() {
    await who();
    const field = $("note-text");
    field.value = "";
    open("dialog-note", async () => {
      if (!field.value.trim()) throw trouble(field, words.text);
      await post("notes", { who: name, text: field.value.trim() });
      say(words.saved);
    });
  },

  async raking() {
    await who();
    open("dialog-raking", async () => {
      await post("raking", { who: name, minutes: Number(picked("dialog-raking", "minutes")) });
      say(words.saved);
    });
  },

  end() {
    open("dialog-end", async () => {
      await post("brew/end", {});
      say(words.ended);
    });
  },

  who: askName,

  theme() {
    const dark = getComputedStyle(page).getPropertyValue("--is-dark").trim() === "1";
    const next = dark ? "light" : "dark";
    document.documentElement.dataset.theme = next;
    kept.set("theme", next);
  },
};

function showMethod(what) {
  const bx = what === "gravity" && picked("dialog-sample", "method") === "bx";
  $("hint-bx").hidden = !bx;
  $("sample-unit").textContent = what === "ph" ? "pH" : what === "volume" ? words.volume : bx ? "°Bx" : words.gravity;
}

const forms = {
  async start(form) {
    const plan = {};
    for (const field of form.querySelectorAll("input, select")) {
      if ("number" in field.dataset) {
        const value = number(field, field.required, field.dataset.number === "fine");
        if (value !== null) plan[field.name] = value;
      } else {
        const text = field.value.trim();
        if (field.required && !text) throw trouble(field, words.text);
        plan[field.name] = text;
      }
    }
    await post("brew?as_shown=true", plan);
    say(words.started);
  },
  async crush(form) {
    const fractions = [];
    for (const field of form.querySelectorAll("[data-opening]")) {
      const percent = number(field, false);
      if (percent !== null) fractions.push({ opening_mm: Number(field.dataset.opening), percent });
    }
    const gap_mm = number($("crush-gap"));
    await post("crush", { who: await who(), gap_mm, fractions, note: $("crush-note").value.trim(), replaces: form.dataset.replaces });
    location.assign(location.pathname);
  },
};

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button || isLeftOver(event) || isMeantForAnother(button, event)) return;
  if (button.dataset.key) return press(button.dataset.key);
  if ("close" in button.dataset) return button.closest("dialog").close();
  const act = acts[button.dataset.act];
  if (act) act(button);
});

document.addEventListener("submit", async (event) => {
  const act = forms[event.target.dataset.act];
  if (!act) return;
  event.preventDefault();
  const form = event.target;
  once(form.querySelector("[type=submit]"), async () => {
    try { await act(form); } catch (error) { say(words.failed + " " + error.message, true); }
  });
});

// Another value is another question.
document.addEventListener("input", (event) => unasked(event.target));

function unasked(field) {
  const dialog = field.closest("dialog");
  const save = dialog && dialog.querySelector(".save");
  if (save && save.dataset.says && !save.dataset.sending) save.textContent = save.dataset.says;
}

document.addEventListener("change", (event) => {
  if (event.target.name === "method") showMethod("gravity");
});

function press(key) {
  const field = $("sample-value");
  if (key === "back") field.value = field.value.slice(0, -1);
  else if (field.value.length < 8) field.value += key === "." ? words.point : key;
  unasked(field);
  field.focus();
}

// ---- Live state --------------------------------------------------------------------------------------------------

const shownAt = [];
window.lauterd = { shownAt };
let drawn = 0;
let brew = null;

// What is being pressed must not be drawn anew under the finger: the press would be lost.
let pressed = null;
const waiting = new Map();
addEventListener("pointerdown", (event) => { pressed = event.target; });
for (const kind of ["pointerup", "pointercancel", "blur"]) {
  addEventListener(kind, () => setTimeout(() => {
    pressed = null;
    changing(() => { for (const [id, html] of waiting) replace(id, html); });
    waiting.clear();
  }));
}

// What comes under the finger while the page is drawn anew is not what the finger was meant for: the second of two taps,
// or one that was on its way, must not press it.
const MOVED_MS = 700;
let before = [];
const placed = () => [...document.querySelectorAll("button")]
  .filter((it) => !it.closest("dialog") && it.checkVisibility())
  .map((it) => ({ what: identity(it), box: it.getBoundingClientRect() }));
const identity = (button) => [button.id, button.dataset.act, button.dataset.alarm, button.dataset.instrument].join(" ");
const holds = (box, x, y) => box.left <= x && x <= box.right && box.top <= y && y <= box.bottom;

/// Draws something anew and remembers for a moment where every button stood before.
function changing(act) {
  const now = performance.now();
  before = before.filter((it) => now - it.at < MOVED_MS);
  const places = placed();
  act();
  before.push({ at: performance.now(), places });
}
addEventListener("scroll", () => { before = []; }, { passive: true });

/// Another button stood at the place of the tap a moment ago. A key presses what has the focus, wherever it stands.
function isMeantForAnother(button, event) {
  if (event.detail === 0 || button.closest("dialog")) return false;
  const own = identity(button);
  return before.some((it) => event.timeStamp - it.at < MOVED_MS
    && it.places.some((place) => place.what !== own && holds(place.box, event.clientX, event.clientY)));
}

function replace(id, html) {
  const part = $(id);
  if (!part) return;
  if (pressed && part.contains(pressed)) { waiting.set(id, html); return; }
  waiting.delete(id);
  const active = document.activeElement;
  const held = part.contains(active) ? active.id : null;
  const unfolded = [...part.querySelectorAll("details[open]")].map((it) => it.id);
  const typed = held && /^(INPUT|SELECT)$/.test(active.tagName);
  if (typed) return; // nobody's typing is taken away
  part.innerHTML = html;
  unfolded.forEach((id) => { const it = $(id); if (it) it.open = true; });
  if (held) {
    const again = $(held) || part.querySelector("button");
    if (again) again.focus({ preventScroll: true });
  }
}

function announce(before) {
  const now = new Map([...document.querySelectorAll(".alarm.unacknowledged")].map((it) => [it.dataset.alarmCard, it]));
  for (const [key, card] of now) {
    if (!before.has(key)) $("call").textContent = card.querySelector("h3").textContent + ". " + card.querySelector(".message").textContent;
  }
}

/// The service sends something every few seconds: after this long without a word the connection is broken, whatever it
/// says itself.
const SILENT_MS = 12000;
const RETRY_MS = 5000;
let events = null;
let heardAt = Date.now();
let triedAt = 0;

function showLive() {
  const link = $("link");
  const silent_ms = Date.now() - heardAt;
  const on = events !== null && events.readyState === EventSource.OPEN && silent_ms <= SILENT_MS;
  const says = on ? link.dataset.live : `${link.dataset.lost} (${filled(words.age, Math.round(silent_ms / 1000))})`;
  if (link.textContent !== says) link.textContent = says;
  // The age is for the eye; a reader is told once.
  link.setAttribute("aria-live", on ? "polite" : "off");
  link.className = on ? "link on" : "link off";
  page.classList.toggle("stale", !on);
}

function disconnect() {
  if (events) events.close();
  events = null;
}

/// Opens the stream anew.
function connect() {
  disconnect();
  triedAt = Date.now();
  events = new EventSource(page.dataset.parts);
  const own = events;
  own.addEventListener("error", () => { if (own === events) { showLive(); if (own.readyState === EventSource.CLOSED) seeSession(); } });
  own.addEventListener("parts", (event) => {
    if (own !== events) return;
    heardAt = Date.now();
    showLive();
    take(JSON.parse(event.data));
  });
}

/// Whether the session still stands; what was signed in anew needs its own value.
async function seeSession() {
  try {
    const answer = await fetch("/api/v1/session", { credentials: "same-origin", signal: AbortSignal.timeout(ANSWER_MS) });
    if (answer.status === 401) sessionOver();
    else if (answer.ok && ((await answer.json()).csrf || "") !== meta("csrf")) location.reload();
  } catch { /* not reachable: shown as not live */ }
}

function take(changes) {
  const before = new Set([...document.querySelectorAll(".alarm.unacknowledged")].map((it) => it.dataset.alarmCard));
  changing(() => { for (const [id, html] of Object.entries(changes.parts)) replace(id, html); });
  announce(before);
  if (changes.brew) {
    if (changes.drawn !== drawn || changes.brew !== brew) draw(changes.brew);
    drawn = changes.drawn;
    brew = changes.brew;
  }
  // After the next frame is on the screen.
  requestAnimationFrame(() => setTimeout(() => {
    shownAt.push(Date.now() - changes.changed_ms);
    if (shownAt.length > 2000) shownAt.shift();
  }));
}

function follow() {
  if (!page.dataset.parts) return;
  connect();
  setInterval(() => {
    if (document.hidden) return;
    showLive();
    const quiet = events === null || events.readyState === EventSource.CLOSED || Date.now() - heardAt > SILENT_MS;
    if (quiet && Date.now() - triedAt > RETRY_MS) { seeSession(); connect(); }
  }, 1000);
  // A browser keeps only few connections to one host: those of tabs that nobody looks at are given back.
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) disconnect();
    else connect();
  });
}

// ---- Charts ------------------------------------------------------------------------------------------------------

const REDRAW_MS = 3000;
let redrawing = null;
let redrawnAt = 0;

/// At most every few seconds, and not while nobody looks.
function draw(name) {
  if (redrawing) return;
  redrawing = setTimeout(async () => {
    redrawing = null;
    redrawnAt = Date.now();
    if (document.hidden) return;
    // An instrument's drift is of no brew: it changes with a check, which loads the page anew.
    await Promise.all([...document.querySelectorAll('.plot[data-chart]:not([data-chart="drift"])')].map((plot) => fetchChart(plot, name)));
  }, Math.max(0, redrawnAt + REDRAW_MS - Date.now()));
}

async function fetchChart(plot, name) {
  // The page's own style says how large it is; what stands further off is written larger.
  const larger = innerWidth >= 1500 ? 1.3 : innerWidth >= 700 ? 1.12 : 1;
  const [width, height] = [plot.clientWidth, plot.clientHeight].map((px) => Math.round(px / larger));
  const path = `brews/${encodeURIComponent(name)}/charts/${plot.dataset.chart}?bare=true&width=${width}&height=${height}`;
  try {
    const answer = await fetch(api + path, { credentials: "same-origin" });
    if (!answer.ok) return;
    const svg = new DOMParser().parseFromString(await answer.text(), "image/svg+xml").documentElement;
    if (svg.nodeName !== "svg") return;
    plot.replaceChildren(document.importNode(svg, true));
    if (plot.at !== undefined) readAt(plot, plot.at);
  } catch { /* the next one will come */ }
}

/// Where the curves of a class stand at a place in the drawing, or null in a gap.
function heightAt(svg, name, x) {
  for (const line of svg.querySelectorAll("polyline." + name)) {
    const points = line.points;
    for (let i = 1; i < points.numberOfItems; i += 1) {
      const a = points.getItem(i - 1), b = points.getItem(i);
      if (a.x <= x && x <= b.x) return a.y + ((x - a.x) / Math.max(b.x - a.x, 1e-9)) * (b.y - a.y);
    }
  }
  return null;
}

const written = (value, digits) => value.toFixed(digits).replace(".", words.point || ".").replace("-", "−");

/// Reads every curve at a share of the x axis and draws the hair.
function readAt(plot, share) {
  const svg = plot.querySelector("svg");
  const out = plot.parentElement.querySelector(".read");
  if (!svg || !svg.dataset.panels) return;
  plot.at = share;
  svg.querySelectorAll(".hair").forEach((hair) => hair.remove());
  const parts = [];
  let lead = "";
  for (const panel of JSON.parse(svg.dataset.panels)) {
    const [left, right, top, bottom] = panel.place;
    const x = left + share * (right - left);
    const value = panel.x[0] + share * (panel.x[1] - panel.x[0]);
    const hair = document.createElementNS("http://www.w3.org/2000/svg", "line");
    for (const [key, it] of Object.entries({ class: "hair", x1: x, x2: x, y1: top, y2: bottom })) hair.setAttribute(key, it);
    svg.append(hair);
    if (panel.x_unit) lead = panel.x_unit + " " + written(value, panel.x[1] < 100 ? 1 : 0);
    for (const curve of panel.curves) {
      const y = heightAt(svg, curve.class, x);
      if (y === null) continue;
      const reading = panel.y[0] + ((bottom - y) / (bottom - top)) * (panel.y[1] - panel.y[0]);
      parts.push(`${curve.name} ${written(reading, curve.digits)} ${curve.unit}`.trim());
    }
  }
  out.textContent = [lead, ...parts].join(" · ");
}

function unread(plot) {
  plot.at = undefined;
  plot.querySelectorAll(".hair").forEach((hair) => hair.remove());
  plot.parentElement.querySelector(".read").textContent = "";
}

document.querySelectorAll(".plot").forEach((plot) => {
  plot.addEventListener("pointermove", (event) => {
    const svg = plot.querySelector("svg");
    if (!svg || !svg.dataset.panels) return;
    const box = svg.getBoundingClientRect();
    const [left, right] = JSON.parse(svg.dataset.panels)[0].place;
    const x = ((event.clientX - box.left) / box.width) * svg.viewBox.baseVal.width;
    readAt(plot, Math.min(Math.max((x - left) / (right - left), 0), 1));
  });
  plot.addEventListener("pointerleave", () => unread(plot));
  plot.addEventListener("blur", () => unread(plot));
  plot.addEventListener("keydown", (event) => {
    const steps = { ArrowLeft: -0.02, ArrowRight: 0.02, Home: -1, End: 1 };
    if (!(event.key in steps)) return;
    event.preventDefault();
    readAt(plot, Math.min(Math.max((plot.at ?? 0.5) + steps[event.key], 0), 1));
  });
});

let resized;
addEventListener("resize", () => { clearTimeout(resized); resized = setTimeout(() => { if (brew) draw(brew); }, 300); });
document.addEventListener("visibilitychange", () => { if (!document.hidden && brew) draw(brew); });

showName();
follow();
