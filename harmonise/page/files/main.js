// Starts the page: brings back what was kept, asks what is offered, and ties the parts.

import { announce } from "./announce.js";
import { afterChange, readTunes, renew } from "./arranging.js";
import { startByEar, takeEars } from "./by_ear.js";
import { enterPanel, startChords, step } from "./chords.js";
import { by, isTyping, show } from "./dom.js";
import { showShelf, startGuide } from "./guide.js";
import { startListening, toggleAloud } from "./listen.js";
import { startLocks } from "./locks.js";
import { showOffers, startManner } from "./manner.js";
import { startMarking } from "./marking.js";
import { startMidi } from "./midi_in.js";
import { startOpening, takeOffers } from "./opening.js";
import { startPieces } from "./pieces.js";
import { redrawAll, startPractise, takeDrills } from "./practise.js";
import { hearFile, startRecording } from "./recording.js";
import { ask, watchServer } from "./server.js";
import { showShare } from "./share.js";
import {
  begin,
  canRedo,
  canUndo,
  isKept,
  recall,
  redo,
  takeUsual,
  undo,
  watch,
  work,
} from "./state.js";
import { showFiles, startTakingAway } from "./take_away.js";
import { startTapping } from "./tapping.js";
import { startTuneBox } from "./tune_box.js";
import { startViews } from "./views.js";
import { EXAMPLE } from "./example.js";

start();

async function start() {
  const isFirst = !recall();
  if (isFirst) begin({ text: EXAMPLE });
  startTuneBox();
  startTapping();
  startMidi();
  startRecording();
  startOpening(readTunes, hearFile);
  startPieces();
  startPractise();
  startByEar();
  startLocks();
  startManner();
  startListening();
  startChords();
  startTakingAway();
  startMarking();
  startHistory();
  startScoreKeys();
  startViews(redrawAll);
  startGuide(isFirst);
  startServer();
  watch(afterChange);
  watch(showHistory);
  showHistory();
  await offer();
  await renew();
}

function startServer() {
  watchServer(
    (sentence) => {
      by("lost").textContent = sentence;
      show(by("lost"), true);
      document.body.dataset.state = "lost";
    },
    async () => {
      show(by("lost"), false);
      announce("The program answers again.");
      await offer();
      await renew();
    },
  );
}

async function offer() {
  const found = await ask("/offers", {});
  if (!found?.answer) return;
  takeUsual(found.answer.usual);
  showOffers(found.answer);
  showFiles(found.answer);
  takeOffers(found.answer);
  takeDrills(found.answer);
  takeEars(found.answer);
  showShelf(found.answer);
  showShare(found.answer);
}

function startHistory() {
  by("undo").addEventListener("click", () => undo() && announce("Undone"));
  by("redo").addEventListener("click", () => redo() && announce("Done again"));
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
    if (isTyping(event.target) && event.target.id !== "text" && event.target.matches("input"))
      return;
    const key = event.key.toLowerCase();
    if (key === "z" && !event.shiftKey) undo();
    else if (key === "y" || (key === "z" && event.shiftKey)) redo();
    else return;
    event.preventDefault();
  });
}

function showHistory() {
  by("undo").disabled = !canUndo();
  by("redo").disabled = !canRedo();
  by("kept-told").textContent = isKept()
    ? "Everything stays on this computer. Your tune is kept in this browser."
    : "This browser has no room to keep your tune. Take it away before you close the page.";
  show(by("example"), work().text === EXAMPLE && !work().file);
}

function startScoreKeys() {
  by("score").addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const act = {
      " ": toggleAloud,
      ArrowLeft: () => step(-1),
      ArrowRight: () => step(1),
      Enter: enterPanel,
    }[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  });
}
