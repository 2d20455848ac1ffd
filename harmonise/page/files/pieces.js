// The list of pieces of work: open, rename, duplicate, delete and bring back.

import { announce } from "./announce.js";
import { question } from "./arranging.js";
import { by, make, show } from "./dom.js";
import { blankText } from "./opening.js";
import { ask } from "./server.js";
import {
  bringBack,
  duplicate,
  hasParted,
  openId,
  openPiece,
  remove,
  rename,
  watchPieces,
} from "./state.js";
import { pieces } from "./store.js";
import { save } from "./queue.js";

const FAULTS = {
  damaged: "A piece that is damaged and cannot be read",
  newer: "A piece that a newer harmonise made",
};

let renamed = null; // id of the piece whose name is being typed

export function startPieces() {
  by("pieces").append(
    make("p", { id: "parted", class: "note", hidden: true }),
    make(
      "details",
      { id: "my-work" },
      make("summary", { id: "my-work-name", text: "My work" }),
      make("ol", { id: "piece-list", class: "pieces" }),
      make("button", { id: "save-work", type: "button", text: "Keep the open piece as a file" }),
      make(
        "p",
        { id: "deleted", class: "note", hidden: true },
        make("span", { id: "deleted-name" }),
        " ",
        make("button", { id: "bring-back", type: "button", text: "Bring it back" }),
      ),
    ),
  );
  by("bring-back").addEventListener("click", () => {
    if (!bringBack()) return announce("There is no room for it. Delete another piece first.");
    show(by("deleted"), false);
    by("my-work-name").focus();
    return announce("Brought back and opened");
  });
  by("my-work").addEventListener("toggle", draw);
  by("save-work").addEventListener("click", saveWork);
  watchPieces(draw);
  draw();
}

async function saveWork() {
  const found = await ask("/save", question());
  if (found?.answer) save(found.answer);
  if (found) announce(found.error?.sentence ?? `Ready: ${found.answer.name}`);
}

function draw() {
  showParted();
  const all = pieces();
  by("my-work-name").textContent = all.length ? `My work (${all.length})` : "My work";
  if (!by("my-work").open) return;
  const rows = all.length
    ? all.map(rowOf)
    : [make("li", { text: "What you type, tap or open is kept here as soon as you change it." })];
  by("piece-list").replaceChildren(...rows);
}

function showParted() {
  if (by("parted").hidden === !hasParted()) return;
  show(by("parted"), hasParted());
  by("parted").textContent = hasParted()
    ? "This piece was changed in another window too. So that nothing is lost, it goes on here as a piece of its own; the other is in My work."
    : "";
  announce(by("parted").textContent);
}

function rowOf(piece) {
  const { id, fault } = piece;
  const isOpen = id === openId();
  const row = make("li", { "data-piece": id, "aria-current": isOpen && "true" });
  if (id === renamed) row.append(formOf(piece));
  else if (fault) row.append(make("span", { text: FAULTS[fault] }), action("Delete", piece));
  else row.append(opener(piece, isOpen), ...["Rename", "Duplicate", "Delete"].map((word) => action(word, piece)));
  return row;
}

function opener({ id, name, changed }, isOpen) {
  const button = make(
    "button",
    { type: "button", class: "piece" },
    make("span", { class: "piece-name", text: name }),
    make("span", { class: "piece-time", text: `${isOpen ? "open, " : ""}${timeOf(changed)}` }),
  );
  button.addEventListener("click", () => {
    openPiece(id);
    announce(`${name} is open`);
    focusOn(id, ".piece");
  });
  return button;
}

/** When something was changed, as people say it. */
function timeOf(changed) {
  const then = new Date(changed);
  const time = then.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
  if (then.toDateString() === new Date().toDateString()) return `today, ${time}`;
  return then.toLocaleDateString("en-GB", { day: "numeric", month: "short", year: "numeric" });
}

function action(word, piece) {
  const name = piece.name ?? "the piece that cannot be read";
  const button = make("button", {
    type: "button",
    class: "small",
    text: word,
    "aria-label": `${word} ${name}`,
    "data-act": word,
  });
  button.addEventListener("click", () => ACTS[word](piece));
  return button;
}

const ACTS = {
  Rename: ({ id }) => {
    renamed = id;
    draw();
    const field = by("piece-list").querySelector("input");
    field.focus();
    field.select();
  },
  Duplicate: ({ name, id }) => {
    const done = duplicate(id);
    announce(done ? `${name} is there twice now` : "There is no room for a second one.");
    focusOn(id, '[data-act="Duplicate"]');
  },
  Delete: ({ name = "The piece", id }) => {
    by("deleted-name").textContent = `“${name}” is deleted.`;
    show(by("deleted"), true);
    remove(id, blankText());
    by("bring-back").focus();
    announce(`${name} is deleted. Press Bring it back to undo that.`);
  },
};

function formOf({ id, name }) {
  const field = make("input", { type: "text", value: name, maxlength: 100, "aria-label": `New name of ${name}` });
  const form = make("form", { class: "row" }, field, make("button", { type: "submit", text: "Name it so" }));
  const end = () => {
    renamed = null;
    draw();
    focusOn(id, '[data-act="Rename"]');
  };
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    rename(id, field.value.trim());
    end();
  });
  form.addEventListener("keydown", (event) => event.key === "Escape" && end());
  return form;
}

const focusOn = (id, what) =>
  by("piece-list").querySelector(`[data-piece="${id}"] ${what}`)?.focus();
