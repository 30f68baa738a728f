// The drop-zone: files go one after another as they are, each with its own progress and its own outcome in words.
import { sendFile, url } from "../api.js";
import { make, refresh } from "../dom.js";
import { instantText, withOffset } from "../times.js";

const section = document.getElementById("drop-section");
const waiting = [];
let busy = false;

const sized = (size) => (size < 1e3 ? `${size} bytes` : size < 1e6 ? `${Math.round(size / 1e3)} kB` : `${(size / 1e6).toFixed(1)} MB`);

function address(file) {
  const taken = document.getElementById("drop-taken").value;
  const query = new URLSearchParams({
    setup_id: section.querySelector("input[name='drop-setup']:checked").value,
    cell_id: document.getElementById("drop-cell").value,
    kind: document.getElementById("drop-kind").value,
    taken_at: taken ? withOffset(taken) : instantText(new Date(file.lastModified)),
    file_name: file.name,
  });
  const map = document.getElementById("drop-map")?.value;
  if (map) query.set("channel_map_id", map);
  return `/tickets/${section.dataset.ticket}/pulls?${query}`;
}

function line(file) {
  const bar = make("progress", { max: 1, value: 0, "aria-label": `Sending ${file.name}` });
  const share = make("span", { class: "number" }, "waits");
  const outcome = make("p", { class: "outcome" });
  const row = make("li", {}, make("span", {}, make("strong", {}, file.name), make("span", { class: "soft" }, ` ${sized(file.size)}`)), share, bar, outcome);
  section.querySelector("[data-sending]").append(row);
  return { file, path: address(file), bar, share, outcome };
}

function say({ outcome, share, bar }, stamp, kind, text, ...more) {
  bar.value = 1;
  share.replaceChildren(make("span", { class: `stamp ${kind}` }, stamp));
  outcome.replaceChildren(text, ...more);
}

function tell(job, { status, body }) {
  const look = () => make("a", { href: url(`/pulls/${body.id}`) }, "look at it");
  const unreadable = body.state === "unreadable";
  // a file without any table has no columns to be named
  const asks = unreadable && body.reason?.startsWith("needs a channel map");
  const way = asks ? make("a", { href: url(`/pulls/${body.id}/channel-map`) }, "say which column is what") : look();
  if (status === 200) say(job, "was here already", "quiet", `This very file is on the ticket already; nothing was filed twice. ${unreadable ? "It is not readable yet: " : ""}`, way);
  else if (unreadable) say(job, "filed, not readable yet", "warned", `Kept as it came; ${body.reason ?? ""} `, way);
  else say(job, "filed", "", "Kept as it came, and readable: ", look());
}

/** Whether the same file may fare better another time: it never does when it was refused for what it is. */
const mayFareBetter = (problem) => ![413, 415, 422].includes(problem.status);

async function next() {
  const job = waiting.shift();
  if (!job) {
    busy = false;
    // the link's form stays as it is while somebody may be writing in it
    await refresh(document.getElementById("link-form") ? ["pulls-section"] : ["pulls-section", "links-section"]);
    return;
  }
  busy = true;
  try {
    const answer = await sendFile(job.path, job.file, (share) => {
      job.bar.value = share;
      job.share.textContent = share < 1 ? `${Math.round(share * 100)} %` : "sent, being read";
    });
    tell(job, answer);
  } catch (problem) {
    const again = make("button", { type: "button", class: "link-button" }, "Send it again");
    again.addEventListener("click", () => {
      job.outcome.replaceChildren();
      take([job.file], job);
    });
    say(job, "not filed", "wrong", `${problem.message} `, ...(mayFareBetter(problem) ? [again] : []));
    job.bar.value = 0;
  }
  section.querySelector("[data-sent-words]").textContent = `${job.file.name}: ${job.share.textContent}`;
  next();
}

function take(files, old) {
  for (const file of files) waiting.push(old ?? line(file));
  if (!busy) next();
}

if (section) {
  const zone = section.querySelector("[data-drop]");
  const input = document.getElementById("drop-files");
  input.addEventListener("change", () => {
    take([...input.files]);
    input.value = "";
  });
  for (const kind of ["dragenter", "dragover"]) {
    zone.addEventListener(kind, (event) => {
      event.preventDefault();
      zone.classList.add("over");
    });
  }
  for (const kind of ["dragleave", "drop"]) zone.addEventListener(kind, () => zone.classList.remove("over"));
  zone.addEventListener("drop", (event) => {
    event.preventDefault();
    take([...event.dataTransfer.files]);
  });
  window.addEventListener("beforeunload", (event) => {
    if (busy) event.preventDefault();
  });
}
