// The shop's picture is sent as it is; the service draws it anew.
import { sendFile } from "../api.js";

const field = document.getElementById("logo-file");
const said = document.getElementById("logo-said");

field?.addEventListener("change", async () => {
  const [file] = field.files;
  if (!file) return;
  said.textContent = "Sending …";
  try {
    await sendFile("/shop/logo", file, () => {});
    window.location.reload();
  } catch (problem) {
    const words = problem.problems?.[0]?.would_do;
    said.textContent = words ? `${problem.message} What would do: ${words}.` : problem.message;
    field.value = "";
  }
});
