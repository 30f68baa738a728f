// Small things any page may hold: copy a link, print, fill a time with now, ask before something is undone.
import { wallTime } from "./times.js";
import { call } from "./api.js";

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-copy], [data-print], [data-call]");
  if (!button) return;
  if (button.dataset.print !== undefined) window.print();
  if (button.dataset.copy !== undefined) {
    const source = document.getElementById(button.dataset.copy);
    const text = source.value ?? source.textContent.trim();
    const before = button.textContent;
    try {
      await navigator.clipboard.writeText(text);
      button.textContent = "Copied";
    } catch {
      source.focus();
      source.select?.();
      button.textContent = "Press Ctrl C to copy";
    }
    setTimeout(() => (button.textContent = before), 2500);
  }
  if (button.dataset.call) {
    if (button.dataset.sure && !window.confirm(button.dataset.sure)) return;
    const [method, path] = button.dataset.call.split(" ");
    button.disabled = true;
    try {
      await call(method, path, method === "DELETE" ? undefined : JSON.parse(button.dataset.body ?? "{}"));
      location.reload();
    } catch (problem) {
      button.disabled = false;
      window.alert(problem.message);
    }
  }
});

for (const field of document.querySelectorAll("input[data-now]")) {
  if (!field.value) field.value = wallTime(new Date()).slice(0, 16);
}

document.querySelector("[data-sign-out]")?.addEventListener("click", async (event) => {
  await call("DELETE", "/session").catch(() => null);
  sessionStorage.clear(); // what was typed here is nobody else's
  location.assign(event.target.dataset.signOut);
});

for (const select of document.querySelectorAll("select[data-guess-zone]")) {
  const here = Intl.DateTimeFormat().resolvedOptions().timeZone;
  if ([...select.options].some((option) => option.value === here)) select.value = here;
}
