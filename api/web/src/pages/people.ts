// Signing in and accounts: show what is typed into a password field, copy what is shown only once. The
// pages work without this script; its buttons are hidden until it runs.
import { frame } from "../frame";

frame();

for (const button of document.querySelectorAll<HTMLButtonElement>("button[data-shows]")) {
  const fields = (button.dataset.shows ?? "").split(" ").map((id) => document.getElementById(id));
  const inputs = fields.filter((one): one is HTMLInputElement => one instanceof HTMLInputElement);
  button.hidden = false;
  button.addEventListener("click", () => {
    const shown = button.getAttribute("aria-pressed") !== "true";
    button.setAttribute("aria-pressed", String(shown));
    for (const input of inputs) input.type = shown ? "text" : "password";
  });
  // A browser must never offer a shown password as a word typed before.
  inputs[0]?.form?.addEventListener("submit", () => {
    for (const input of inputs) input.type = "password";
  });
}

for (const button of document.querySelectorAll<HTMLButtonElement>("button[data-copies]")) {
  const shown = document.getElementById(button.dataset.copies ?? "");
  // Browsers give it over https and on this machine only; elsewhere a click selects the whole text.
  const clipboard = navigator.clipboard as Clipboard | undefined;
  if (!shown || !clipboard) continue;
  button.hidden = false;
  button.addEventListener("click", () => {
    void clipboard.writeText(shown.textContent.trim()).then(() => {
      button.textContent = "Copied";
    });
  });
}
