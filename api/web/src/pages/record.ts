// The record: what is typed is sent with the state that the page shows, so that nobody signs what they did
// not see.
import { ProblemError, post, wordsOf } from "../client";
import { showWhere } from "../planning/nav";
import { frame, need, say, surveyId } from "../frame";
import "../record.css";

const SEAL_TIMEOUT_MS = 180_000;

interface Opened {
  survey: { id: string };
  left_out: string[];
}

function today(): string {
  return new Date().toLocaleDateString("sv-SE");
}

/** The first field that is empty but must not be. */
function emptyField(form: HTMLFormElement): HTMLElement | null {
  const fields = form.querySelectorAll<HTMLInputElement | HTMLTextAreaElement>("[required]");
  for (const field of fields) {
    const empty = field instanceof HTMLInputElement && field.type === "checkbox" ? !field.checked : field.value.trim() === "";
    field.toggleAttribute("aria-invalid", false);
    if (empty) {
      field.setAttribute("aria-invalid", "true");
      return field;
    }
  }
  return null;
}

function labelOf(field: HTMLElement): string {
  const label = field.closest("label") ?? document.querySelector(`label[for="${CSS.escape(field.id)}"]`);
  return label?.textContent?.trim() ?? "";
}

function bodyOf(form: HTMLFormElement): Record<string, string> {
  const body: Record<string, string> = {};
  for (const [name, value] of new FormData(form)) if (name !== "sure") body[name] = String(value);
  if (!("open" in form.dataset)) body["digest"] = need<HTMLElement>("#record").dataset["digest"] ?? "";
  return body;
}

async function send(form: HTMLFormElement): Promise<void> {
  const error = need<HTMLElement>(".error", form);
  const button = need<HTMLButtonElement>("button", form);
  const empty = emptyField(form);
  if (empty) {
    const box = empty instanceof HTMLInputElement && empty.type === "checkbox";
    say(error, box ? "Tick the box first: it cannot be undone." : `Fill in “${labelOf(empty)}”.`);
    empty.focus();
    return;
  }
  button.disabled = true;
  say(error, "");
  need("#page-said").textContent = "Working…";
  try {
    const made = await post<Opened>(`/api/surveys/${surveyId()}/${form.dataset["send"] ?? ""}`, bodyOf(form), SEAL_TIMEOUT_MS);
    if ("open" in form.dataset) location.assign(`/surveys/${made.body.survey.id}/record`);
    else location.reload();
  } catch (thrown) {
    need("#page-said").textContent = "";
    say(error, wordsOf(thrown));
    mark(form, thrown);
    button.disabled = false;
  }
}

function mark(form: HTMLFormElement, thrown: unknown): void {
  const faults = thrown instanceof ProblemError ? (thrown.problem.errors ?? []) : [];
  for (const fault of faults) {
    const name = fault.path.split(".").pop() ?? "";
    const field = form.elements.namedItem(name);
    if (field instanceof HTMLElement) {
      field.setAttribute("aria-invalid", "true");
      field.focus();
      return;
    }
  }
}

frame();
showWhere();
for (const field of document.querySelectorAll<HTMLInputElement>('input[type="date"]')) field.value ||= today();
for (const form of document.querySelectorAll<HTMLFormElement>("form[data-send]")) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    void send(form);
  });
}
