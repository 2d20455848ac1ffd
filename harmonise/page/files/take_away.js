// What can be taken away: the page as files, worksheets of the tune, drills.

import { announce } from "./announce.js";
import { question, shownKey } from "./arranging.js";
import { by, fill, make, show } from "./dom.js";
import { playingNow } from "./listen.js";
import { makeFile } from "./queue.js";
import { remember, remembered } from "./state.js";

const PAPER = ["paper", "capo", "landscape", "large-print", "keyboards"];
const VERSIONS = "ABCDE";
const MOST_FRETS = 5;
const COPIES = { answers: ", answers", "fill-in": ", to fill in", recordings: ", recordings" };

export function startTakingAway() {
  const frets = Array.from({ length: MOST_FRETS + 1 }, (_, at) => String(at));
  fill(by("capo"), [
    { value: "", title: "the easiest shapes" },
    ...frets.map((value) => ({ value, title: value === "0" ? "none" : `fret ${value}` })),
  ]);
  fill(
    by("worksheet-versions"),
    [...VERSIONS].map((letter, at) => ({
      value: String(at + 1),
      title: at ? `${at + 1}: A to ${letter}` : "one",
    })),
  );
  fill(
    by("mark-version"),
    [...VERSIONS].map((letter, at) => ({ value: String(at + 1), title: letter })),
  );
  for (const id of PAPER) by(id).addEventListener("change", () => remember(id, valueOf(by(id))));
  by("worksheet").addEventListener("submit", (event) => {
    event.preventDefault();
    makeSheets();
  });
  by("worksheet-kind").addEventListener("change", showChoices);
  by("drill").addEventListener("submit", (event) => {
    event.preventDefault();
    makeDrills();
  });
}

const valueOf = (field) => (field.type === "checkbox" ? field.checked : field.value);
const sheetKind = () => sheets.find(({ value }) => value === by("worksheet-kind").value);

/** Show the choices that change something on the kind of worksheet, and no others. */
function showChoices() {
  const kind = sheetKind();
  if (!kind) return;
  for (const id of new Set(sheets.flatMap(({ idle }) => idle)))
    show(by(id).closest("label"), !kind.idle.includes(id));
  show(by("worksheet-heard"), kind.heard);
  const has = { "fill-in": kind.filled, recordings: kind.heard };
  for (const option of by("worksheet-copy").options) {
    option.hidden = has[option.value] === false;
    option.disabled = option.hidden;
  }
  if (by("worksheet-copy").selectedOptions[0]?.disabled) by("worksheet-copy").selectedIndex = 0;
}
const typedKeys = (id) =>
  by(id)
    .value.split(",")
    .map((key) => key.trim())
    .filter(Boolean);

let drillFiles = []; // kinds of file that drills are made as
let sheets = []; // kinds of worksheet

/** Show what the program offers to take away. */
export function showFiles({ files, drills, lists, ...offers }) {
  drillFiles = offers.drillFiles;
  sheets = offers.sheets;
  by("files").replaceChildren(...files.map(fileButton));
  show(by("worksheet"), lists["worksheet-kind"].length > 0);
  by("drill-names").replaceChildren(...drills.map(drillTick));
  fill(by("mark-drill"), drills.map((drill) => ({ value: drill.value, title: drillTitle(drill) })));
  fill(by("mark-key"), [{ value: "", title: "the drill’s first" }, ...lists.key.slice(1)]);
  show(by("drill"), drills.length > 0);
  for (const id of PAPER) {
    const field = by(id);
    const usual = (id === "paper" && offers.usual.paper) || valueOf(field);
    const value = remembered(id, usual);
    if (field.type === "checkbox") field.checked = value;
    else field.value = value;
  }
  showChoices();
}

/** The paper that everything is printed on. */
export const paperNow = () => ({
  paper: by("paper").value,
  landscape: by("landscape").checked,
  largePrint: by("large-print").checked,
  keyboards: by("keyboards").checked,
  capo: by("capo").value === "" ? null : Number(by("capo").value),
});

function fileButton({ value: kind, title, ending, idle }) {
  const button = make(
    "button",
    { type: "button", "data-kind": kind },
    title,
    " ",
    make("span", { class: "ending", text: ending }),
  );
  button.addEventListener("click", () => {
    const asked = { ...question(), kind, playing: playingNow(), page: paperNow() };
    makeFile("/file", asked, `${title} ${ending}`, withoutEffect(idle));
  });
  return button;
}

/** What is set, and changes nothing on a file. */
function withoutEffect(idle) {
  const names = idle.filter(({ value }) => isSet(by(value))).map(({ title }) => title);
  return names.length ? `No effect on this file: ${names.join(", ")}.` : "";
}

// The first row of every list leaves the choice, and no such box is ticked before.
const isSet = (control) =>
  control.matches("select") ? control.selectedIndex > 0 : control.checked;

const drillTitle = ({ value: name, title }) =>
  title.startsWith(name) ? title : `${name}: ${title}`;

function drillTick(drill, place) {
  const tick = make("input", { type: "checkbox", value: drill.value, checked: place === 0 });
  return make("label", { class: "tick" }, tick, ` ${drillTitle(drill)}`);
}

/** The worksheet that is chosen, by its version from 1. */
export const sheetNow = (version = 1) => ({
  kind: by("worksheet-kind").value,
  version,
  keys: typedKeys("worksheet-keys"),
  bars: Number(by("worksheet-bars").value) || 0,
  faults: Number(by("worksheet-faults").value) || 4,
  seed: Number(by("seed").value) || 1,
  depth: by("worksheet-depth").value,
  labels: by("worksheet-labels").value,
  step: Number(by("worksheet-step").value) || 1,
  about: by("worksheet-about").value,
  questions: Number(by("worksheet-questions").value) || 8,
});

function makeSheets() {
  const count = Number(by("worksheet-versions").value);
  const copies = by("worksheet-copy").value;
  const kind = by("worksheet-kind").selectedOptions[0].text;
  for (let version = 1; version <= count; version += 1) {
    for (const copy of copies === "both" ? ["sheet", "answers"] : [copies]) {
      const asked = { ...question(), sheet: sheetNow(version), copy, page: paperNow() };
      const told = `${kind}, ${VERSIONS[version - 1]}${COPIES[copy] ?? ""}`;
      makeFile("/worksheet", asked, told);
    }
  }
}

function makeDrills() {
  const names = [...document.querySelectorAll("#drill-names input:checked")].map(
    ({ value }) => value,
  );
  if (!names.length) return tell("Tick a drill first.");
  tell("");
  const kind = by("drill-kind").value;
  const { idle } = drillFiles.find(({ value }) => value === kind);
  const asked = {
    names,
    keys: typedKeys("drill-keys"),
    home: shownKey(),
    kind,
    version: by("drill-version").value,
    tempo: Number(by("drill-tempo").value) || 60,
    page: paperNow(),
  };
  return makeFile("/drill", asked, `Drills ${names.join(", ")}`, withoutEffect(idle));
}

function tell(sentence) {
  show(by("away-fault"), Boolean(sentence));
  by("away-fault").textContent = sentence;
  if (sentence) announce(sentence);
}
