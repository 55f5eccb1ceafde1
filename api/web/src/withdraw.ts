// Asks why something is taken back; the template's dialog says what withdrawing means.
import { need, say } from "./frame";

/** Ask for the reason; null if the person keeps it. */
export function askReason(title: string, what: string): Promise<string | null> {
  const dialog = need<HTMLDialogElement>("#withdraw");
  const form = need<HTMLFormElement>("form", dialog);
  const reason = need<HTMLInputElement>("#withdraw-reason");
  const error = need<HTMLElement>(".error", dialog);
  need("#withdraw-title").textContent = title;
  need("#withdraw-what").textContent = what;
  reason.value = "";
  reason.removeAttribute("aria-invalid");
  say(error, "");
  return new Promise((resolve) => {
    let given: string | null = null;
    form.onsubmit = (event) => {
      event.preventDefault();
      if (reason.value.trim() === "") {
        say(error, "Say why, so that the next person does not have to guess.");
        reason.setAttribute("aria-invalid", "true");
        reason.focus();
        return;
      }
      given = reason.value.trim();
      dialog.close();
    };
    need<HTMLButtonElement>('[data-do="cancel"]', dialog).onclick = () => dialog.close();
    // The word of an earlier closing may come after the next opening.
    dialog.onclose = () => {
      if (!dialog.open) resolve(given);
    };
    dialog.showModal();
    reason.focus();
  });
}

/** The address that withdraws something with its reason. */
export function withReason(url: string, reason: string): string {
  return `${url}?${new URLSearchParams({ reason })}`;
}
