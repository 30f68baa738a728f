// Before something is saved that customers' results are made from: which live links would say something else, was and is.
// The service is asked with the very body that would be sent; where nothing would move, nobody is asked anything.
import { call, url } from "./api.js";
import { make } from "./dom.js";
import { bodyOf } from "./forms.js";

// what is sent → where it is asked about first
const ASKED = [
  [/^POST (\/weather)$/, "$1/foreseen"],
  [/^POST (\/cells\/\w+\/calibrations)$/, "$1/foreseen"],
  [/^POST (\/pulls\/\w+\/set-aside)$/, "$1/foreseen"],
  [/^DELETE (\/pulls\/\w+)\/set-aside$/, "$1/counting-again/foreseen"],
];
const MOST_LINES = 6;

function askedAt(sent) {
  const found = ASKED.find(([pattern]) => pattern.test(sent ?? ""));
  return found ? sent.replace(...found) : null;
}

function linesOf(link) {
  const whole = link.changes.filter((change) => change.of_setup);
  return (whole.length ? whole : link.changes).slice(0, MOST_LINES);
}

function described(link) {
  const lines = linesOf(link).map((one) =>
    make("tr", {}, make("th", { scope: "row" }, one.what), make("td", { class: "number" }, one.was), make("td", { class: "number" }, make("strong", {}, one.now))));
  const head = make("tr", {}, make("th", { scope: "col" }, "What"), make("th", { scope: "col", class: "number" }, "Says now"), make("th", { scope: "col", class: "number" }, "Would say"));
  return make("section", {},
    make("h3", {}, make("a", { href: url(`/tickets/${link.ticket_id}`), target: "_blank" }, `Ticket ${link.ticket_number}`), ` ${link.vehicle}, ${link.customer_name}`),
    make("table", {}, make("thead", {}, head), make("tbody", {}, ...lines)));
}

/** Ask people whether to go on. Gives true when they say so, or when no live link is touched. */
export async function agreed(path, body) {
  const told = await call("POST", path, body);
  if (!told.links.length && !told.further) return true;
  const count = told.links.length + told.further;
  const save = make("button", { type: "button", class: "main-button" }, "Save it all the same");
  const leave = make("button", { type: "button" }, "Leave it as it is");
  const dialog = make("dialog", { class: "foreseen", "aria-labelledby": "foreseen-heading" },
    make("h2", { id: "foreseen-heading" }, count === 1 ? "A customer’s results would change" : `The results of ${count} links would change`),
    make("p", {}, "These links are out and live. Saved, each page states what it said, what it says now, when that changed, and the reason given."),
    ...told.links.map(described),
    told.further ? make("p", {}, `And ${told.further} more, not worked out here.`) : null,
    make("p", { class: "row" }, leave, save));
  document.body.append(dialog);
  return new Promise((resolve) => {
    let answer = false;
    save.addEventListener("click", () => { answer = true; dialog.close(); });
    leave.addEventListener("click", () => dialog.close());
    dialog.addEventListener("close", () => { dialog.remove(); resolve(answer); });
    dialog.showModal();
    leave.focus();
  });
}

/** Hold an event back until it is agreed to, then let it happen. A refusal is left to whoever sends: it says the same. */
async function hold(event, holder, path, body, again) {
  if (holder.dataset.agreed) {
    delete holder.dataset.agreed;
    return;
  }
  event.preventDefault();
  event.stopImmediatePropagation();
  if (holder.dataset.asking) return;
  holder.dataset.asking = "yes";
  const goes = await agreed(path, body).catch(() => true);
  delete holder.dataset.asking;
  if (!goes) return;
  holder.dataset.agreed = "yes";
  again();
}

document.addEventListener("submit", (event) => {
  const form = event.target.closest("form[data-send]");
  const path = askedAt(form?.dataset.send);
  if (path) hold(event, form, path, bodyOf(form), () => form.requestSubmit());
}, true);

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-call]");
  const path = askedAt(button?.dataset.call);
  if (path) hold(event, button, path, undefined, () => button.click());
}, true);
