// Photos of the car: each is sent as it is, one after another, and says what became of it.
import { sendFile } from "../api.js";
import { make, refresh } from "../dom.js";

const part = document.querySelector("[data-photos]");

async function send(file) {
  const bar = make("progress", { max: 1, value: 0, "aria-label": `Sending ${file.name}` });
  const share = make("span", { class: "number" }, "waits");
  const row = make("li", {}, make("strong", {}, file.name), share, bar);
  part.querySelector("[data-sending]").append(row);
  const query = new URLSearchParams({ file_name: file.name || "photo", caption: document.getElementById("photo-caption").value.trim() });
  try {
    await sendFile(`/tickets/${part.dataset.photos}/photos?${query}`, file, (done) => {
      bar.value = done;
      share.textContent = done < 1 ? `${Math.round(done * 100)} %` : "sent, being drawn anew";
    });
    row.remove();
  } catch (problem) {
    const words = problem.problems?.[0]?.would_do;
    share.replaceChildren(make("span", { class: "stamp wrong" }, "not kept"));
    row.append(make("p", { class: "outcome" }, words ? `${problem.message} What would do: ${words}.` : problem.message));
    bar.remove();
  }
}

part?.addEventListener("change", async (event) => {
  const files = [...(event.target.files ?? [])];
  if (!files.length) return;
  for (const file of files) await send(file);
  event.target.value = "";
  document.getElementById("photo-caption").value = "";
  await refresh(["photos"]);
});
