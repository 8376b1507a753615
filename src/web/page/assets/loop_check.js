"use strict";
// The loop check's form: takes readings, sends the check, and corrects an instrument. Uses what page.js has; both share
// one space of names, and what is declared here would take the place of what page.js calls by the same name.

const TAKES = 5;
const TAKE_MS = 1000;
const pause = (ms) => new Promise((done) => setTimeout(done, ms));

const form = $("loop-check");
const instrument = form && form.dataset.instrument;

/// The instrument's reading now: with its correction, and before it.
async function looked() {
  const answer = await fetch(`${api}instruments/${encodeURIComponent(instrument)}`, { credentials: "same-origin" });
  if (!answer.ok) throw new Error(answer.statusText);
  const reading = (await answer.json()).reading;
  if (!reading || reading.measured === undefined) throw new Error(words.number);
  return { measured: reading.measured, corrected: reading.corrected ?? reading.measured };
}

async function takeReading(button) {
  const row = button.closest(".point");
  const field = row.querySelector('[data-key="reading"]');
  button.disabled = true;
  try {
    const taken = [];
    for (let i = 0; i < TAKES; i += 1) {
      if (i) await pause(TAKE_MS);
      taken.push(await looked());
      field.value = taken[taken.length - 1].corrected.toPrecision(7);
    }
    const mean = (key) => taken.reduce((sum, it) => sum + it[key], 0) / taken.length;
    const middle = mean("corrected");
    const squares = taken.reduce((sum, it) => sum + (it.corrected - middle) ** 2, 0);
    field.value = String(Number(middle.toPrecision(9)));
    row.dataset.taken = JSON.stringify({
      reading: Number(field.value),
      uncorrected: mean("measured"),
      scatter: Math.sqrt(squares / (taken.length - 1)),
      readings: taken.length,
    });
  } catch (error) {
    say(words.failed + " " + error.message, true);
  }
  button.disabled = false;
}

function applied(row) {
  const value = (key) => number(row.querySelector(`[data-key="${key}"]`));
  const optional = (key) => number(row.querySelector(`[data-key="${key}"]`), false);
  if (row.querySelector('[data-key="buffer"]')) {
    return { kind: "buffer", buffer: row.querySelector('[data-key="buffer"]').value, temperature_c: value("temperature_c") };
  }
  if (row.querySelector('[data-key="mass_kg"]')) {
    return { kind: "weighed-tank", mass_kg: value("mass_kg"), seconds: value("seconds"), temperature_c: value("temperature_c") };
  }
  if (row.querySelector('[data-key="gravity_p"]')) {
    const made = { kind: "gravity", gravity_p: value("gravity_p") };
    const temperature = optional("temperature_c");
    if (temperature !== null) made.temperature_c = temperature;
    return made;
  }
  return { kind: "value", value: value("value") };
}

/// The rows of a series in which a reading stands.
function points(series) {
  const made = [];
  for (const row of form.querySelectorAll(`[data-series="${series}"] .point`)) {
    const reading = number(row.querySelector('[data-key="reading"]'), false);
    if (reading === null) continue;
    const taken = row.dataset.taken ? JSON.parse(row.dataset.taken) : null;
    // What was typed over counts as typed.
    const same = taken && taken.reading === reading;
    made.push({ direction: row.dataset.direction, applied: applied(row), reading, ...(same ? taken : {}) });
  }
  return made;
}

const due = () => number($("check-due_days"), false);

async function send() {
  const reference = $("check-reference");
  if (!reference.value.trim()) throw trouble(reference, words.text);
  const body = {
    who: await who(),
    instrument,
    reference: {
      name: reference.value.trim(),
      expanded_uncertainty: number($("check-expanded_uncertainty")),
      temperature_uncertainty_c: number($("check-temperature_uncertainty_c")),
    },
    tolerance: number($("check-tolerance")),
    resolution: number($("check-resolution")),
    as_found: points("as_found"),
    as_left: points("as_left"),
    note: $("check-note").value.trim(),
  };
  const days = due();
  if (days !== null) body.due_days = days;
  await post("loop-checks", body);
  location.reload();
}

async function correct() {
  const found = points("as_found").map((point) => ({
    applied: point.applied,
    reading: point.uncorrected ?? point.reading,
  }));
  const body = { who: await who(), points: found };
  const days = due();
  if (days !== null) body.due_days = days;
  await post(`instruments/${encodeURIComponent(instrument)}/correction`, body);
  say(words.saved);
}

async function takeBack(button) {
  const csrf = document.querySelector('meta[name="csrf"]').content;
  const by = encodeURIComponent(await who());
  const answer = await fetch(`${api}instruments/${encodeURIComponent(button.dataset.instrument)}/correction?who=${by}`, {
    method: "DELETE",
    credentials: "same-origin",
    headers: { "X-Lauterd-Csrf": csrf },
  });
  if (!answer.ok) throw new Error((await answer.json()).error);
  location.reload();
}

const does = { take: takeReading, correct, "take-back": takeBack };
document.addEventListener("click", async (event) => {
  const button = event.target.closest("button[data-check]");
  const act = button && does[button.dataset.check];
  if (!act) return;
  try { await once(button, () => act(button)); } catch (error) { say(words.failed + " " + error.message, true); }
});

if (form) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const save = form.querySelector('button[type="submit"]');
    try { await once(save, send); } catch (error) { say(words.failed + " " + error.message, true); }
  });
}
