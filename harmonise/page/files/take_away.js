// Files to keep: the page, worksheets of the tune, drills.

import { announce } from "./announce.js";
import { question } from "./arranging.js";
import { by, make, show } from "./dom.js";
import { playingNow } from "./listen.js";
import { ask } from "./server.js";

export function startTakingAway() {
  by("worksheet").addEventListener("submit", (event) => {
    event.preventDefault();
    fetchFile("/worksheet", {
      ...question(),
      sheet: { kind: by("worksheet-kind").value, seed: Number(by("seed").value) || 1 },
      copy: by("worksheet-copy").value,
    });
  });
  by("drill").addEventListener("submit", (event) => {
    event.preventDefault();
    const names = [...document.querySelectorAll("#drill-names input:checked")].map(
      ({ value }) => value,
    );
    if (!names.length) return tell("Tick a drill first.");
    const keys = by("drill-keys")
      .value.split(",")
      .map((key) => key.trim())
      .filter(Boolean);
    const kind = by("drill-kind").value;
    const { idle } = drillFiles.find(({ value }) => value === kind);
    const body = { names, keys, kind, version: by("drill-version").value };
    return fetchFile("/drill", body, withoutEffect(idle));
  });
}

let drillFiles = [];

/** Show what the program offers to take away. */
export function showFiles({ files, drills, lists, ...offers }) {
  drillFiles = offers.drillFiles;
  by("files").replaceChildren(...files.map(fileButton));
  show(by("worksheet"), lists["worksheet-kind"].length > 0);
  by("drill-names").replaceChildren(...drills.map(drillTick));
  show(by("drill"), drills.length > 0);
}

function fileButton({ value: kind, title, ending, idle }) {
  const button = make(
    "button",
    { type: "button", "data-kind": kind },
    title,
    " ",
    make("span", { class: "ending", text: ending }),
  );
  button.addEventListener("click", () =>
    fetchFile("/file", fileQuestion(kind), withoutEffect(idle)),
  );
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

function drillTick({ value: name, title }, place) {
  const tick = make("input", { type: "checkbox", value: name, checked: place === 0 });
  const told = title.startsWith(name) ? title : `${name}: ${title}`;
  return make("label", { class: "tick" }, tick, ` ${told}`);
}

function fileQuestion(kind) {
  return {
    ...question(),
    kind,
    playing: playingNow(),
    page: {
      paper: by("paper").value,
      landscape: by("landscape").checked,
      largePrint: by("large-print").checked,
    },
  };
}

async function fetchFile(path, body, remark = "") {
  tell("");
  show(by("away-idle"), false);
  document.body.dataset.file = "working";
  announce("Making the file");
  const found = await ask(path, body, "file");
  if (!found) return;
  if (found.error) return tell(found.error.sentence);
  save(found.answer);
  by("away-idle").textContent = remark;
  show(by("away-idle"), Boolean(remark));
  announce(`Ready: ${found.answer.name}. ${remark}`.trim());
}

/** Give a file to the browser to keep. */
export function save({ blob, name }) {
  const address = URL.createObjectURL(blob);
  const link = make("a", { href: address, download: name, hidden: true });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
  document.body.dataset.file = name;
}

function tell(sentence) {
  show(by("away-fault"), Boolean(sentence));
  by("away-fault").textContent = sentence;
  if (!sentence) return;
  document.body.dataset.file = "fault";
  announce(sentence);
}
