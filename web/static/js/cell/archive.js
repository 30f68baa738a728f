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
