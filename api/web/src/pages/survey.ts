// How far a survey has come, and what it states about itself: name, date, inspector, light.
import { edit, pageData, ProblemError, read, wordsOf } from "../client";
import { frame, loadLater, maybe, need, say, surveyId } from "../frame";
import { parseNumber } from "../units";

interface About {
  survey: Record<string, unknown>;
  display_units: string | null;
}

/** A survey's head as the service takes it: what this form does not show goes back as it came. */
interface Head extends About {
  settings: unknown;
  instruments: unknown;
  lenses: unknown;
}

frame();
void loadLater();
const form = maybe<HTMLFormElement>("#about-form");
const shown = pageData<About>("about");
if (form && shown) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const error = need<HTMLElement>(".error", form);
    say(error, "");
    keep(form, shown).then(
      () => location.reload(),
      (problem: unknown) => say(error, problem instanceof FieldError ? problem.message : wordsOf(problem)),
    );
  });
}

class FieldError extends Error {}

async function keep(from: HTMLFormElement, before: About): Promise<void> {
  const typed = typedIn(from);
  const address = `/api/surveys/${surveyId()}`;
  const { body: now, etag } = await read<Head>(address);
  // Instruments and lenses share the survey's version; only what stands on this form can clash.
  const same = Object.entries(before.survey).every(([name, value]) => now.survey[name] === value);
  if (!same || now.display_units !== before.display_units) throw stale();
  const { settings, instruments, lenses } = now;
  const survey = { ...now.survey, ...typed.survey };
  try {
    await edit("PUT", address, etag, { display_units: typed.display_units, survey, settings, instruments, lenses });
  } catch (problem) {
    throw problem instanceof ProblemError && problem.isStale ? stale() : problem;
  }
}

function stale(): FieldError {
  return new FieldError("Somebody else has just changed this; nothing was kept. Load the page again and repeat your change.");
}

function typedIn(from: HTMLFormElement): About {
  const data = new FormData(from);
  const text = (name: string): string => String(data.get(name) ?? "").trim();
  if (!text("name")) {
    need<HTMLInputElement>("#about-name").focus();
    throw new FieldError("Give the survey a name, so that it can be told from the next one.");
  }
  const light = text("illuminance_lx");
  const lux = light === "" ? null : parseNumber(light);
  if (light !== "" && (lux === null || lux < 0)) {
    need<HTMLInputElement>("#about-light").focus();
    throw new FieldError(`Light at the surface: "${light}" is not a number of lux.`);
  }
  const survey = {
    name: text("name"), date: text("date") || null, inspector: text("inspector"),
    illuminance_lx: lux, light_standard: text("light_standard"), note: text("note"),
  };
  return { survey, display_units: text("display_units") };
}
