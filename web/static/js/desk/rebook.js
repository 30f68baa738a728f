// Booking a ticket anew from its own page: the plan of the day opens with the form, and free time is taken from it.
import { wallTime } from "../times.js";
import { planBeside } from "./day.js";

const holder = document.getElementById("rebooking");
const form = holder?.querySelector("form");
if (form) {
  const [from, to, cell] = ["booked_from", "booked_to", "cell_id"].map((name) => form.elements[name]);
  const length = () => {
    const minutes = (Date.parse(to.value + "Z") - Date.parse(from.value + "Z")) / 60000;
    return minutes > 0 ? minutes : 60;
  };
  // who moves the start moves the end with it
  const wall = (field) => Date.parse(field.value + "Z");
  let start = wall(from);
  from.addEventListener("change", () => {
    const moved = wall(from) - start;
    if (moved && wall(to)) to.value = new Date(wall(to) + moved).toISOString().slice(0, 16);
    start = wall(from);
  });
  form.addEventListener("taken", () => (start = wall(from)));
  const { show } = planBeside(form, { from, to, cell, length });
  holder.addEventListener("toggle", () => holder.open && show((from.value || wallTime(new Date())).slice(0, 10)));
}
