// The day's plan beside a form that books: a day chosen, free time taken into the form, a clash shown where it lies.
import { make, refresh } from "../dom.js";
import { url } from "../api.js";
import { wallTime } from "../times.js";

const MINUTE = 60000;

/** Put an instant into a date-and-time field, and keep it exactly: in the night the clock goes back it names two. */
export function putTime(field, instant) {
  field.value = wallTime(instant).slice(0, 16);
  field.dataset.exactFor = field.value;
  field.dataset.exact = instant.toISOString().replace(".000Z", "+00:00");
}

/** Keep `#day-plan` with this form. `length()` gives the minutes that a booking begun from the plan should last. */
export function planBeside(form, { from, to, cell, length }) {
  const plan = () => document.getElementById("day-plan");

  async function show(day) {
    if (!plan() || !/^\d{4}-\d\d-\d\d$/.test(day)) return;
    if (await refresh(["day-plan"], url(`/?day=${day}`))) plan().hidden = false;
  }

  function take(link) {
    const begins = new Date(link.dataset.free);
    const ends = new Date(Math.min(begins.getTime() + length() * MINUTE, Date.parse(link.dataset.freeTo)));
    cell.value = link.dataset.cell;
    putTime(from, begins);
    putTime(to, ends);
    from.dispatchEvent(new CustomEvent("taken", { bubbles: true }));
    from.focus();
  }

  document.addEventListener("click", (event) => {
    const link = event.target.closest("#day-plan [data-day-link], #day-plan [data-free]");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    if (link.dataset.dayLink) show(link.dataset.dayLink);
    else take(link);
  });

  from.addEventListener("change", () => {
    const day = from.value.slice(0, 10);
    if (day && day !== plan()?.dataset.day) show(day);
  });

  // refused because somebody has the cell: that day is shown, and whose ticket it is
  form.addEventListener("refused", async ({ detail: problem }) => {
    const number = problem.status === 409 && /ticket (\d+)/.exec(problem.message)?.[1];
    if (!number || !from.value) return;
    await show(from.value.slice(0, 10));
    const clash = plan()?.querySelector(`[data-number="${number}"]`);
    if (!clash) return;
    clash.classList.add("clashing");
    clash.append(make("span", { class: "line small" }, "in the way"));
    const said = form.querySelector(".form-problem");
    said?.append(make("p", {}, make("a", { href: clash.getAttribute("href"), target: "_blank", rel: "noopener" }, `Look at ticket ${number}`), "; it is marked in the plan of the day. What you typed is still here."));
  });

  return { show };
}
