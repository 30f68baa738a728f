// The archive asks again as one types, keeps the question in the address, and has figures read that are due.
import { call } from "../api.js";
import { refresh, settled } from "../dom.js";

const form = document.getElementById("archive-form");

function address() {
  const asked = new URLSearchParams();
  for (const [name, value] of new FormData(form)) if (value.trim()) asked.set(name, value.trim());
  const query = asked.toString();
  return form.action + (query ? `?${query}` : "");
}

let turn = 0;
const look = settled(async () => {
  const mine = ++turn;
  const there = address();
  if (there === location.href) return;
  document.getElementById("archive-found").classList.add("looking");
  history.replaceState(null, "", there);
  if (!(await refresh(["archive-found"], there)) && mine === turn) location.assign(there);
  else if (mine !== turn) look();
}, 250);

form.addEventListener("input", look);
form.addEventListener("submit", (event) => {
  event.preventDefault();
  look();
});

/** What is in sight was filed or changed lately: its figures are read a few hundred at a time, the newest first. */
const MOST_BATCHES = 8;
let isReading = false;
async function readWhatIsShown() {
  if (isReading || !document.querySelector("#archive-found[data-some-due]")) return;
  isReading = true;
  const asked = location.href;
  try {
    let due = 1;
    for (let batch = 0; due && batch < MOST_BATCHES; batch++) {
      const told = await call("POST", "/archive/figures");
      due = told.read ? told.due : 0;
    }
    if (asked === location.href) await refresh(["archive-found"]);
  } catch {
    // the list stands as it is, and says which figures are missing
  }
}
readWhatIsShown();

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-read-figures]");
  if (!button) return;
  button.disabled = true;
  try {
    for (let due = 1; due; ) {
      due = (await call("POST", "/archive/figures")).due;
      button.textContent = due ? `Reading … ${due > 1000 ? "more than 1 000" : due} left` : "Read";
    }
    await refresh(["archive-found"]);
  } catch (problem) {
    button.textContent = problem.message;
  }
});
