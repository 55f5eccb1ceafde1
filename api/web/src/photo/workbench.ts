// The page put together: panels, bars, canvas, keyboard. It holds no rules of its own.
import { wordsOf } from "../client";
import type { Px } from "../geometry";
import { chosenUnit } from "../units";
import { Canvas, reducedMotion, snapTo } from "./canvas";
import { openPair, addPair, placePanel, setPlace } from "./panel-place";
import { askConflicts, showHelp } from "./dialogs";
import { keepSketch, readSketch } from "./draft";
import { renderBar } from "./bar";
import { byId, fill, h, refocus, soon } from "./dom";
import { DrawTool } from "./draw";
import { Editor } from "./edit";
import { forgetRefused, type Units } from "./fields";
import { Glass } from "./glass";
import { Keys } from "./keys";
import { Layers } from "./layers";
import { LayoutView } from "./layout-view";
import { takeLightPoints } from "./mark-light";
import { marksPanel } from "./panel-marks";
import { cylinderOf, straightenBy } from "./panel-taken";
import { Measures } from "./measures";
import { ScaleFinder } from "./finder";
import { scalePanel } from "./panel-scale";
import { newScale, withHandles } from "./scales";
import { Notices } from "./notices";
import { outlineOf, shifted } from "./shapes";
import { type Panel, PANEL_OF, type Store } from "./store";
import { Suggestions } from "./suggestions";
import type { Sync } from "./sync";
import type { Member, PhotoPart, PhotoRecord, StructureRecord, SurveyRecord } from "./types";

// A copy is put this far off, so that it is seen.
const COPY_SHIFT_CSS_PX = 24;

export class Workbench {
  private photo: PhotoPart;
  private readonly recordId: string;
  private readonly units: Units;
  private readonly canvas: Canvas;
  private readonly finder: ScaleFinder;
  private readonly suggestions: Suggestions;
  private readonly layers: Layers;
  private readonly draw: DrawTool;
  private readonly editor: Editor;
  private readonly keys: Keys;
  private readonly glass: Glass;
  private readonly layout: LayoutView;
  private readonly measures: Measures;
  private readonly notices: Notices;
  private aiming = false;
  private revealed: string | null = null;

  constructor(
    record: PhotoRecord,
    picture: NonNullable<PhotoRecord["picture"]>,
    private readonly survey: SurveyRecord,
    private readonly structure: StructureRecord,
    private readonly store: Store,
    private readonly sync: Sync,
  ) {
    this.photo = record.photo;
    this.recordId = record.id;
    this.units = { doc: survey.units, shown: chosenUnit(survey.display_units ?? survey.units) };
    store.panel = record.photo.scale ? "marks" : "scale";
    this.canvas = new Canvas(byId("canvas"), picture.width, picture.height, picture);
    this.finder = new ScaleFinder(`/api/photos/${record.id}/find-scale`, store);
    this.suggestions = new Suggestions(record.id, store, () => sync.stored.marks);
    this.layers = new Layers(this.canvas, store, this.finder, this.suggestions, () => this.photo);
    this.draw = new DrawTool(this.canvas, store);
    this.editor = new Editor(this.canvas, store, this.layers);
    this.glass = new Glass(this.canvas, byId<HTMLCanvasElement>("glass"));
    this.layout = new LayoutView(byId("layout"));
    this.measures = new Measures(`/api/photos/${record.id}/measures`, store, this.units.shown);
    this.notices = new Notices(store, sync);
    this.keys = new Keys(this.canvas, store, this.draw, this.editor, this.suggestions, {
      aim: (on) => this.aim(on),
      duplicate: (id) => this.duplicate(id),
      show: (id) => this.show(id),
      say: (words) => this.notices.say(words),
    });
  }

  async open(): Promise<void> {
    this.wireDrawing();
    this.wireButtons();
    this.wireKeys();
    this.wireGlass();
    this.fillInstruments();
    this.sync.say = (words) => this.notices.say(words);
    this.suggestions.decisions.say = (words) => this.notices.say(words);
    this.sync.onPhoto = (photo) => {
      this.photo = photo;
      void this.suggestions.load();
      this.renderLayout();
      soon(this.render);
    };
    this.sync.ask = (conflicts) => askConflicts(conflicts, this.units);
    this.measures.onChange = this.render;
    this.finder.onChange = this.render;
    this.finder.onAnswer = () => refocus('[data-key="find-use"], [data-key="find-scale"]');
    this.suggestions.onAnswer = () =>
      refocus(`[data-key="accept-${this.suggestions.current}"], [data-key="suggest-pit"]`);
    this.store.onChange((change) => {
      if (change === "tool" || change === "doc" || change === "panel") this.renderLayout();
      if (change === "tool" && this.draw.active) this.toStage();
      if (change === "panel" || change === "selection") forgetRefused();
      if (change === "sync") this.notices.render();
      else soon(this.render);
    });
    this.renderLayout();
    this.render();
    for (const waiting of document.querySelectorAll<HTMLButtonElement>("[data-waits]")) waiting.disabled = false;
    this.firstVisit();
    await this.sync.restore();
    this.suggestions.open();
    this.resumeSketch();
  }

  private resumeSketch(): void {
    const sketch = readSketch(this.recordId);
    if (!sketch || this.draw.active) return;
    this.store.panel = PANEL_OF[sketch.tool.name];
    this.store.tell("panel");
    this.store.setTool(sketch.tool);
    this.draw.resume(sketch.points);
    this.notices.say("The points you had set were brought back. Go on, or press Cancel.");
  }

  private firstVisit(): void {
    const key = "corrosion.photo-hint";
    try {
      if (localStorage.getItem(key)) return;
      localStorage.setItem(key, "seen");
    } catch {
      // Without storage the hint shows each time; it closes with one press.
    }
    this.notices.say(
      "First set the scale, then mark what you see, then place the photo. It is saved by itself. Help (?) shows all ways to draw.",
    );
  }

  private wireDrawing(): void {
    const { store, draw, editor, notices, suggestions } = this;
    draw.say = editor.say = (words) => notices.say(words);
    draw.onProgress = () => {
      keepSketch(this.recordId, draw.points.length > 0 ? { tool: store.tool, points: draw.points } : null);
      this.renderBar();
    };
    draw.onReference = (tool, points) => {
      store.setScale(newScale(tool.kind, tool.way, points, store.doc.scale), "set the scale reference");
      store.setTool({ name: "look" });
      window.setTimeout(() => this.focusFirstEmpty(), 30);
    };
    draw.onLight = (tool, points) => {
      takeLightPoints(tool.what, tool.mark, points);
      store.setTool({ name: "look" });
    };
    draw.onAxis = (axis) => {
      store.setTool({ name: "look" });
      void this.tag({ surface: { ...cylinderOf(this.photo), axis } });
    };
    draw.onEdge = (points) => {
      store.setTool({ name: "look" });
      void this.straighten(points);
    };
    draw.onPair = (at) => {
      addPair(store, at);
      store.setTool({ name: "look" });
    };
    draw.onSuggest = (what, points) => {
      const [at] = points;
      if (what === "region") {
        store.setTool({ name: "look" });
        void suggestions.sweep(points);
      } else if (at) void suggestions.at(what, at);
    };
    editor.onProposal = (id) => suggestions.pick(id);
    suggestions.onShow = (one) => this.canvas.show(outlineOf(one.shape));
    editor.onReference = (points) => {
      const { scale, placement } = store.doc;
      if (store.panel === "scale" && scale) store.setScale(withHandles(scale, points), "move a reference point");
      else if (store.panel === "place" && placement) {
        store.setPlacement({ ...placement, image: points }, "move a point pair");
      }
    };
    this.layout.onClick = (place) => {
      const open = openPair(store.doc.placement);
      if (open >= 0) setPlace(store, open, place);
      else notices.say("Press Add a point pair first, click the point on the photo, then here.");
    };
  }

  /** On a phone the tool buttons are below the picture: bring it back into sight. */
  private toStage(): void {
    const stage = byId("stage");
    const { top, bottom } = stage.getBoundingClientRect();
    if (matchMedia("(max-width: 60rem)").matches && (top < 0 || bottom > innerHeight)) {
      stage.scrollIntoView({ block: "start", behavior: reducedMotion() ? "auto" : "smooth" });
    }
    byId("canvas").focus({ preventScroll: true });
  }

  /** After a reference is clicked its length is what is missing: take the person there, unless they went on. */
  private focusFirstEmpty(): void {
    const at = document.activeElement;
    if (at !== document.body && !byId("photo-pane").contains(at)) return;
    const empty = byId("panel").querySelector<HTMLInputElement>('input[aria-required="true"]');
    if (empty && !empty.value) empty.focus();
  }

  private wireButtons(): void {
    const on = (id: string, act: () => void): void => byId(id).addEventListener("click", () => act());
    on("undo", () => this.keys.undo());
    on("redo", () => this.store.redo());
    on("help", showHelp);
    on("zoom-in", () => this.canvas.zoom(1.6));
    on("zoom-out", () => this.canvas.zoom(1 / 1.6));
    on("zoom-fit", () => this.canvas.fit());
    on("aim", () => this.aim(!this.aiming));
    on("set-point", () => this.keys.setPoint());
    on("finish", () => this.draw.finish());
    on("take-back", () => this.draw.removeLast());
    on("drop", () => this.store.setTool({ name: "look" }));
    const { suggestions } = this;
    on("suggest-accept", () => suggestions.accept(suggestions.current ?? ""));
    on("suggest-edit", () => suggestions.accept(suggestions.current ?? "", true));
    on("suggest-drop", () => suggestions.drop(suggestions.current ?? ""));
    const tabs = [...document.querySelectorAll<HTMLButtonElement>('[role="tab"]')];
    tabs.forEach((tab, i) => {
      tab.addEventListener("click", () => this.store.setPanel(tab.dataset["panel"] as Panel));
      tab.addEventListener("keydown", (event) => {
        const step = event.key === "ArrowRight" ? 1 : event.key === "ArrowLeft" ? -1 : 0;
        const next = tabs[(i + step + tabs.length) % tabs.length];
        if (step === 0 || !next) return;
        next.focus();
        next.click();
      });
    });
  }

  private wireKeys(): void {
    const canvas = byId("canvas");
    canvas.addEventListener("keydown", (event) => {
      if (this.keys.onCanvas(event)) event.preventDefault();
    });
    document.addEventListener("keydown", (event) => {
      if (!event.defaultPrevented && this.keys.onPage(event)) event.preventDefault();
    });
    new ResizeObserver(() => this.snap()).observe(byId("photo-pane"));
    new ResizeObserver(() => this.snap()).observe(document.body);
  }

  private snap(): void {
    snapTo(byId("canvas"), byId("photo-pane"));
    this.canvas.resized();
  }

  private wireGlass(): void {
    const { map } = this.canvas;
    const viewport = map.getViewport();
    const follow = (pixel: number[]): void => {
      const at = this.canvas.toPixel(map.getCoordinateFromPixel(pixel));
      this.under(at);
      if (this.draw.active && !this.aiming) this.glass.show(at);
    };
    map.on("pointermove", (event) => follow(event.pixel));
    viewport?.addEventListener("pointerdown", (event) => follow(map.getEventPixel(event)));
    viewport?.addEventListener("pointerleave", () => {
      if (!this.aiming) this.glass.hide();
    });
    map.on("postrender", () => {
      if (this.aiming && this.draw.active) this.glass.show(this.canvas.center);
    });
    this.store.onChange((change) => {
      if (change === "tool" && !this.draw.active) this.glass.hide();
    });
    this.canvas.onFull = (state) => {
      byId("photo-pane").dataset["picture"] = state;
      if (state === "failed") this.notices.say("The full picture could not be loaded; the smaller preview is shown. Zoom again to retry.");
    };
  }

  private under(at: Px): void {
    const inside = this.canvas.inside(at);
    const off = inside[0] !== at[0] || inside[1] !== at[1];
    byId("under").textContent = off ? "" : `${Math.round(at[0])}, ${Math.round(at[1])} px`;
  }

  private aim(on: boolean): void {
    if (this.aiming === on) return;
    this.aiming = on;
    byId("aim").setAttribute("aria-pressed", String(on));
    byId("cross").hidden = !on;
    if (!on) this.glass.hide();
    this.renderBar();
    this.canvas.map.render();
  }

  private fillInstruments(): void {
    const options = this.survey.instruments.map((one) => h("option", { value: one.id }, one.kind));
    byId("instruments").replaceChildren(...options);
  }

  private duplicate(id: string): void {
    const by = COPY_SHIFT_CSS_PX * this.canvas.resolution;
    this.store.duplicateMark(id, (shape) => shifted(shape, by, by));
  }

  private show(id: string): void {
    const mark = this.store.mark(id);
    if (mark) this.canvas.show(outlineOf(mark.shape));
  }

  private get member(): Member | null {
    return this.structure.structure.members.find((one) => one.id === this.photo.member) ?? null;
  }

  private renderLayout(): void {
    const pane = byId("layout-pane");
    const wanted = this.store.panel === "place" && this.member !== null;
    byId("stage").classList.toggle("split", wanted);
    pane.hidden = !wanted;
    this.snap();
    if (!wanted) return;
    this.layout.show(this.member);
    const layout = this.store.doc.placement?.layout ?? [];
    this.layout.pairs(layout.map((place) => (place[0] === null || place[1] === null ? null : place)));
  }

  private renderBar(): void {
    renderBar(this.store, this.draw, this.suggestions, this.aiming);
  }

  private readonly render = (): void => {
    const { store, units, measures } = this;
    for (const tab of document.querySelectorAll<HTMLButtonElement>('[role="tab"]')) {
      const selected = tab.dataset["panel"] === store.panel;
      tab.setAttribute("aria-selected", String(selected));
      tab.tabIndex = selected ? 0 : -1;
    }
    const panel = byId("panel");
    panel.setAttribute("aria-labelledby", `tab-${store.panel}`);
    const context = {
      store,
      units,
      measures,
      photo: () => this.photo,
      onTag: (changes: Record<string, unknown>) => void this.tag(changes),
    };
    if (store.panel === "scale") fill(panel, ...scalePanel({ ...context, finder: this.finder, lenses: this.survey.lenses }));
    else if (store.panel === "marks") {
      fill(
        panel,
        ...marksPanel({
          ...context,
          instruments: this.survey.instruments,
          suggestions: this.suggestions,
          onShow: (id) => this.show(id),
          onDuplicate: (id) => this.duplicate(id),
        }),
      );
    } else {
      fill(panel, ...placePanel({ ...context, members: this.structure.structure.members }));
    }
    this.notices.render();
    this.renderBar();
    this.revealSelected(panel);
  };

  /** Bring the newly selected mark's entry into sight; on a phone the picture is what has to stay. */
  private revealSelected(panel: HTMLElement): void {
    const { selected } = this.store;
    if (selected === this.revealed) return;
    this.revealed = selected;
    if (selected && matchMedia("(min-width: 60.01rem)").matches) {
      panel.querySelector("li.selected")?.scrollIntoView({ block: "start" });
    }
  }

  private async straighten(points: readonly Px[]): Promise<void> {
    try {
      const lens = await straightenBy(this.recordId, this.survey.id, this.photo.id, points);
      this.survey.lenses.push(lens);
      await this.tag({ lens: lens.id });
    } catch (error) {
      this.notices.say(`No profile was made. ${wordsOf(error)}`);
    }
  }

  private async tag(changes: Record<string, unknown>): Promise<void> {
    try {
      this.photo = (await this.sync.patch(changes)).photo;
      this.store.tell("measures");
    } catch (error) {
      this.notices.say(`The change was not saved. ${wordsOf(error)}`);
    }
    this.renderLayout();
    soon(this.render);
  }
}
