// Wall-clock times of the shop's zone and instants: a tablet set to another zone must not move a pull by hours.

const html = document.documentElement;
export const shopZone = () => html.dataset.zone || "UTC";

function parts(instant, zone) {
  const shaped = new Intl.DateTimeFormat("en-GB", {
    timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit", second: "2-digit", hourCycle: "h23",
  }).formatToParts(instant);
  return Object.fromEntries(shaped.map(({ type, value }) => [type, value]));
}

/** An instant as a <input type="datetime-local"> shows it, on the shop's clock. */
export function wallTime(instant, zone = shopZone()) {
  const p = parts(instant, zone);
  return `${p.year}-${p.month}-${p.day}T${p.hour}:${p.minute}:${p.second}`;
}

function offsetMinutes(instant, zone) {
  const wall = Date.parse(wallTime(instant, zone) + "Z");
  return Math.round((wall - Math.floor(instant.getTime() / 1000) * 1000) / 60000);
}

/** The shop's wall time as RFC 3339 with its offset: "2026-03-10T09:50" → "2026-03-10T09:50:00+01:00". */
export function withOffset(wall, zone = shopZone()) {
  const complete = wall.length === 16 ? wall + ":00" : wall;
  const asUtc = Date.parse(complete + "Z");
  if (Number.isNaN(asUtc)) return wall;
  let minutes = offsetMinutes(new Date(asUtc), zone);
  minutes = offsetMinutes(new Date(asUtc - minutes * 60000), zone); // again, from the right side of a clock change
  const size = Math.abs(minutes);
  const two = (number) => String(number).padStart(2, "0");
  return `${complete}${minutes < 0 ? "-" : "+"}${two(Math.floor(size / 60))}:${two(size % 60)}`;
}

/** An instant as RFC 3339 with the shop's offset. */
export const instantText = (instant) => withOffset(wallTime(instant));
