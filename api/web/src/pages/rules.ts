// The rules of a survey: choose an example, or state rows with their source; gaps are named at once.
import { frame, need, surveyId } from "../frame";
import { showWhere } from "../planning/nav";
import "../planning/planning.css";
import { rulesPart } from "../planning/rulespart";
import { Trial } from "../planning/trial";

frame();
showWhere();
// Rules hold shares only, so no length needs a unit.
const part = rulesPart(surveyId(), { doc: "mm", shown: "mm" });
void new Trial([part], need("#results"), () => undefined).start();
