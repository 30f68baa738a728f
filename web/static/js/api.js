// The one way from a page to the records: JSON out, JSON back, refusals as a Problem that names the fields.

const html = document.documentElement;

/** A path as the browser must ask for it: the service may live under a path of its own. */
export const url = (path) => (html.dataset.root ?? "") + path;
export const apiUrl = (path) => url("/api/v1" + path);

export class Problem extends Error {
  /** `said` is a problem document: title, detail, problems [{field, value, would_do}]. */
  constructor(status, said) {
    super(said.detail || said.title || "That did not work.");
    this.status = status;
    this.problems = said.problems ?? [];
    this.said = said;
  }
}

const AWAY = { title: "Not reached", detail: "The service could not be reached. What you typed is still here; try again." };

export function problemFrom(status, text) {
  try {
    return new Problem(status, JSON.parse(text));
  } catch {
    return new Problem(status, { detail: `The service answered ${status} and nothing more. Try again.` });
  }
}

/** Ask the API. `body` is sent as JSON when given. Gives the answer's JSON, or null where there is none. */
export async function call(method, path, body) {
  const asked = { method, headers: { Accept: "application/json" }, credentials: "same-origin" };
  if (body !== undefined) {
    asked.headers["Content-Type"] = "application/json";
    asked.body = JSON.stringify(body);
  }
  let answer;
  try {
    answer = await fetch(apiUrl(path), asked);
  } catch {
    throw new Problem(0, AWAY);
  }
  const text = await answer.text();
  if (!answer.ok) throw problemFrom(answer.status, text);
  return text ? JSON.parse(text) : null;
}

/** Send a file as the body, telling how much has left. `onProgress` is called with a share from 0 to 1. */
export function sendFile(path, file, onProgress) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("POST", apiUrl(path));
    request.setRequestHeader("Accept", "application/json");
    request.setRequestHeader("Content-Type", "application/octet-stream");
    request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) onProgress(event.loaded / event.total);
    });
    request.addEventListener("load", () => {
      if (request.status < 300) resolve({ status: request.status, body: JSON.parse(request.responseText) });
      else reject(problemFrom(request.status, request.responseText));
    });
    request.addEventListener("error", () => reject(new Problem(0, AWAY)));
    request.send(file);
  });
}
