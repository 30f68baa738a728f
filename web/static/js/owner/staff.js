// A colleague is added: a password made up here if wanted, and what to pass on said once, since nobody can look it up later.
import { make, refresh } from "../dom.js";
import { url } from "../api.js";

const CONSONANTS = "bdfgklmnprstvz";
const VOWELS = "aeiou";
const form = document.getElementById("new-person");

/** Ten syllables in five groups, 61 bits: easily said over a counter, guessed by nobody. */
function madeUp() {
  const drawn = crypto.getRandomValues(new Uint32Array(20));
  const letters = [...drawn].map((number, place) => (place % 2 ? VOWELS[number % VOWELS.length] : CONSONANTS[number % CONSONANTS.length]));
  return letters.join("").match(/.{4}/g).join("-");
}

document.addEventListener("click", (event) => {
  if (!event.target.dataset.makePassword) return;
  const field = document.getElementById(event.target.dataset.makePassword);
  field.value = madeUp();
  field.focus();
});

form.addEventListener("sent", async (event) => {
  const password = form.elements.password.value;
  const pass = `${location.origin}${url("/sign-in")}\nSign-in name: ${event.detail.sign_in_name}\nPassword: ${password}`;
  document.getElementById("added").replaceChildren(make("div", { class: "good" },
    make("p", {}, make("strong", {}, `${event.detail.full_name} can sign in.`), " Pass this on now; the password is not shown again."),
    make("pre", { id: "to-pass-on", class: "mono" }, pass),
    make("button", { type: "button", "data-copy": "to-pass-on" }, "Copy")));
  form.reset();
  document.getElementById("added").scrollIntoView({ block: "center" });
  await refresh(["people"]);
});
