// Repair or replace: hours, prices, limits and allowances tried at once, the results beside them.
import { frame, loadLater, need, surveyId } from "../frame";
import { pageData } from "../client";
import { showWhere } from "../planning/nav";
import { decisionPart, limitsPart, type Part, planningPart } from "../planning/parts";
import "../planning/planning.css";
import { Trial } from "../planning/trial";
import type { Units } from "../rework/fields";
import { chosenUnit, type Unit } from "../units";

interface PageData {
  units: Unit;
  structure: string;
}

function start({ units: doc, structure }: PageData): void {
  const units: Units = { doc, shown: chosenUnit(doc) };
  const survey = surveyId();
  const parts = [decisionPart(survey, units), planningPart(survey, units), limitsPart(structure, units)];
  const trial = new Trial(parts.filter((one): one is Part => one !== null), need("#results"), () => undefined);
  void trial.start();
  void loadLater();
}

frame();
showWhere();
const data = pageData<PageData>("planning-data");
if (data) start(data);
