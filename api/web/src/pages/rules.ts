// The rules of a survey: choose an example, or state rows with their source; gaps are named at once.
import { wordsOf } from "../client";
import { frame, need, surveyId } from "../frame";
import { showWhere } from "../planning/nav";
import "../planning/planning.css";
import { rulesPart, takeFile } from "../planning/rulespart";
import { Trial } from "../planning/trial";

frame();
showWhere();
// Rules hold shares only, so no length needs a unit.
const part = rulesPart(surveyId(), { doc: "mm", shown: "mm" });
void new Trial([part], need("#results"), () => undefined).start();

const chosen = need<HTMLInputElement>("#rules-file");
chosen.addEventListener("change", () => {
  const file = chosen.files?.[0];
  chosen.value = "";
  if (!file) return;
  const said = need("#rules-file-said");
  takeFile(part, surveyId(), file).then(
    (words) => (said.textContent = words),
    (error: unknown) => (said.textContent = `Nothing was taken. ${wordsOf(error)}`),
  );
});
