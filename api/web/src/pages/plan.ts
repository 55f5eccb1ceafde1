// The blend plan: values tried at once, every blend in a table and on its member.
import { getJson, pageData, wordsOf } from "../client";
import { frame, loadLater, maybe, need, surveyId } from "../frame";
import type { MapData } from "../map/data";
import { showWhere } from "../planning/nav";
import { limitsPart, type Part, planningPart } from "../planning/parts";
import { type DrawnBlend, PlanMap } from "../planning/planmap";
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
  const board = new Board(units.shown);
  const parts = [planningPart(surveyId(), units), limitsPart(structure, units)].filter((one): one is Part => one !== null);
  const trial = new Trial(parts, need("#results"), () => board.draw());
  void trial.start();
  void loadLater(() => board.draw());
  void board.choose();
}

/** The map beside the table, for one member at a time. */
class Board {
  private readonly select = need<HTMLSelectElement>("#plan-member");
  private readonly said = need<HTMLElement>("#plan-map-said");
  private map: PlanMap | null = null;
  private asked = 0;
  private drawn: Promise<void> = Promise.resolve();

  constructor(private readonly unit: Unit) {
    this.select.addEventListener("change", () => void this.choose());
    need("#plan-whole").addEventListener("click", () => this.map?.showWhole());
    need("#plan-blends").addEventListener("click", () => this.map?.goTo(...this.blends));
    need("#plan-print").addEventListener("click", () => print());
    need("#results").addEventListener("click", (event) => this.follow(event.target as Element));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.map?.restyle());
    this.setUpPrint();
  }

  /** Draw the member that is chosen. */
  choose(): Promise<void> {
    this.drawn = this.fetchMap();
    return this.drawn;
  }

  private async fetchMap(): Promise<void> {
    const request = (this.asked += 1);
    const query = new URLSearchParams({ member: this.select.value });
    this.said.textContent = "Adding up what was removed.";
    try {
      const found = await getJson<MapData>(`/surveys/${surveyId()}/map/data?${query}`);
      if (request !== this.asked) return;
      this.map?.close();
      this.map = new PlanMap(need("#plan-map"), found, this.unit, need("#plan-under"));
      this.map.showWhole();
      this.said.textContent = "";
      this.draw();
      this.map.goTo(...this.blends);
    } catch (error) {
      this.said.textContent = wordsOf(error);
    }
  }

  /** Draw the blends of the results as they stand. */
  draw(): void {
    need<HTMLButtonElement>("#plan-whole").disabled = this.map === null;
    // What is there without the other is not drawn yet: whichever comes last draws both.
    if (this.map === null || maybe("#plan-drawn") === null) return;
    const blends = this.blends;
    this.map.draw(blends);
    need<HTMLButtonElement>("#plan-blends").disabled = blends.length === 0;
    this.said.textContent = blends.length === 0 ? "No blend is planned on this member." : "";
  }

  private get blends(): DrawnBlend[] {
    return pageData<Record<string, DrawnBlend[]>>("plan-drawn")?.[this.select.value] ?? [];
  }

  private follow(target: Element): void {
    const row = target.closest<HTMLElement>("tr[data-blend]");
    if (!row || target.closest("a, button")) return;
    const go = (): void => {
      const blend = this.blends.find((one) => one.label === row.dataset["blend"]);
      if (blend) this.map?.goTo(blend);
    };
    if (this.select.value === row.dataset["member"]) void this.drawn.then(go);
    else {
      this.select.value = row.dataset["member"] ?? "";
      void this.choose().then(go);
    }
  }

  // A print is light and has its own size; the canvas has to be drawn again for it, and back afterwards.
  private setUpPrint(): void {
    const theme = document.documentElement.dataset["theme"] ?? "system";
    const turn = (print: boolean): void => {
      document.documentElement.dataset["theme"] = print ? "light" : theme;
      document.body.classList.toggle("printing", print);
      this.map?.restyle();
    };
    addEventListener("beforeprint", () => turn(true));
    addEventListener("afterprint", () => turn(false));
  }
}

frame();
showWhere();
const data = pageData<PageData>("planning-data");
if (data) start(data);
