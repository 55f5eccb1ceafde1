// The map of a member: what was removed and what is left, where nobody looked, and the ledger of any spot.
import Feature from "ol/Feature";
import OlMap from "ol/Map";
import View from "ol/View";
import ScaleLine from "ol/control/ScaleLine";
import Zoom from "ol/control/Zoom";
import { boundingExtent, buffer, type Extent } from "ol/extent";
import { Point as PointGeometry } from "ol/geom";
import { defaults as interactions } from "ol/interaction/defaults";
import VectorLayer from "ol/layer/Vector";
import Projection from "ol/proj/Projection";
import VectorSource from "ol/source/Vector";
import { Fill, RegularShape, Stroke, Style } from "ol/style";
import { getJson, pageData, wordsOf } from "../client";
import { frame, make, maybe, need, surveyId } from "../frame";
import { type Face, type Layout, type MapData, type Patch, type Point, type Spot } from "../map/data";
import { buildLayers, filterFace, foundAt, type Layers } from "../map/layers";
import { ledger, verdictOf } from "../map/ledger";
import { legend } from "../map/legend";
import { colour } from "../map/patterns";
import { type Mode, RemovalRaster } from "../map/raster";
import { addTicks } from "../map/ticks";
import { convert, fixed, MM_PER, showLength, type Unit } from "../units";

// Above: the zoom buttons, and the stations' names below them. Below: the ticks' numbers, and the scale.
const PADDING = [68, 24, 68, 64];
const CLOSEST_MM_PER_PX = 0.005;
const NARROW_PX = 960;

// The layout is there at once; what was found on it may take long to add up, and then replaces it. Where a
// person went meanwhile, and the spot they asked for, go over to the new map.
async function start(box: HTMLElement): Promise<void> {
  const member = box.dataset.member ?? "";
  need<HTMLSelectElement>("#member").addEventListener("change", () => need<HTMLFormElement>("#bar").submit());
  need<HTMLButtonElement>("#print").addEventListener("click", () => print());
  const layout = pageData<Layout>("layout");
  const first = layout ? new MemberMap(box, { member: layout, problem: "" }) : null;
  first?.showWhole();
  tell("Adding up what was removed.");
  const data = await getJson<MapData>(`/surveys/${surveyId()}/map/data?${new URLSearchParams({ member })}`).catch(
    (error: unknown): MapData => ({ member: layout ?? ({} as Layout), problem: wordsOf(error) }),
  );
  tell("");
  about(data);
  if (data.member.outline) new MemberMap(box, data).open(first);
}

function about(data: MapData): void {
  const body = need<HTMLElement>("#member-body");
  const problem = need<HTMLElement>("#map-problem");
  if (data.problem || data.verdict === undefined) {
    problem.hidden = false;
    problem.replaceChildren(make("p", {}, make("strong", {}, "The sums cannot be made: "), data.problem));
    body.replaceChildren(make("p", {}, "Only the layout is shown."));
    return;
  }
  need<HTMLElement>("#member-title").append(" ", verdictOf(data.verdict, data));
  body.replaceChildren(...(data.reasons ?? []).map((reason) => make("p", { class: "small" }, reason)));
}

function tell(words: string): void {
  need<HTMLElement>("#map-said").textContent = words;
}

class MemberMap {
  private readonly unit = (document.documentElement.dataset.units ?? "mm") as Unit;
  private readonly extent: Extent;
  private readonly map: OlMap;
  private readonly layers: Layers;
  private readonly raster: RemovalRaster;
  private readonly spotMark = new VectorSource();
  private readonly off = new AbortController();
  private patches: Patch[] = [];
  private asked = 0;
  private spotAsked = 0;
  private opened = false;
  private whole = "";
  private wanted: Point | null = null;
  private read: Point | null = null;

  constructor(
    private readonly box: HTMLElement,
    private readonly data: MapData,
  ) {
    this.extent = boundingExtent(data.member.outline);
    const room = Math.max(this.extent[2]! - this.extent[0]!, this.extent[3]! - this.extent[1]!);
    const projection = new Projection({
      code: "plan-mm", units: "m", metersPerUnit: 0.001, extent: buffer(this.extent, room),
    });
    this.layers = buildLayers(data, projection);
    this.raster = new RemovalRaster(projection, data.ramp ?? []);
    const { member, unseen, zones, photos, stations, fasteners, findings } = this.layers;
    this.map = new OlMap({
      target: box,
      layers: [member, unseen, this.raster.layer, zones, photos, stations, fasteners, findings, this.marker()],
      controls: [new Zoom(), new ScaleLine({ units: this.unit === "in" ? "imperial" : "metric" })],
      interactions: interactions({ doubleClickZoom: false, altShiftDragRotate: false, pinchRotate: false }),
      view: new View({
        projection, extent: buffer(this.extent, room / 2), minResolution: CLOSEST_MM_PER_PX,
        showFullExtent: true, constrainOnlyCenter: true, enableRotation: false,
      }),
    });
    addTicks(this.map, data.member.outline, this.unit);
    this.listen();
  }

  /** Show all of the member. */
  showWhole(): void {
    this.map.getView().fit(this.extent, { padding: PADDING, size: this.map.getSize() ?? [600, 400] });
    this.whole = this.view;
  }

  /** Take the map off the page. */
  close(): void {
    this.off.abort();
    this.map.setTarget(undefined);
    this.map.dispose();
  }

  private get view(): string {
    const view = this.map.getView();
    return JSON.stringify([view.getCenter(), view.getResolution()]);
  }

  private listen(): void {
    const { signal } = this.off;
    this.map.on("singleclick", (event) => void this.ask(event.coordinate as Point));
    this.map.on("pointermove", (event) => this.readOut(event.coordinate as Point));
    this.map.getView().on("change:center", () => this.readOut(this.map.getView().getCenter() as Point));
    const enter = (event: KeyboardEvent): void => {
      if (event.key === "Enter" && event.target === this.box) void this.ask(this.map.getView().getCenter() as Point);
    };
    this.box.addEventListener("keydown", enter, { signal });
    need<HTMLButtonElement>("#whole").addEventListener("click", () => this.showWhole(), { signal });
  }

  /** Take the place of the map without sums, load the sums, and go to the finding that the address names. */
  open(before: MemberMap | null): void {
    this.showWhole();
    if (before && before.view !== before.whole) {
      const view = before.map.getView();
      this.map.getView().setCenter(view.getCenter());
      this.map.getView().setResolution(view.getResolution());
    }
    before?.close();
    this.opened = true;
    for (const input of document.querySelectorAll<HTMLInputElement>('#bar input[name="face"]')) {
      input.addEventListener("change", () => void this.loadGrid());
    }
    for (const input of document.querySelectorAll<HTMLInputElement>('#bar input[name="mode"]')) {
      input.addEventListener("change", () => this.paint());
    }
    this.setUpLayers();
    this.setUpPrint();
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.restyle());
    void this.loadGrid();
    if (before?.wanted) void this.ask(before.wanted);
    else this.goToFinding(new URL(location.href).searchParams.get("finding"));
  }

  private get face(): Face | null {
    return (need<HTMLInputElement>('#bar input[name="face"]:checked').value || null) as Face | null;
  }

  private get mode(): Mode {
    return need<HTMLInputElement>('#bar input[name="mode"]:checked').value as Mode;
  }

  private goToFinding(id: string | null): void {
    const found = id === null ? undefined : this.data.findings?.find((one) => one.id === id);
    if (!found?.position) return;
    const size = buffer(boundingExtent([found.position]), 40);
    this.map.getView().fit(size, { size: this.map.getSize() ?? [600, 400] });
    void this.ask(found.position);
  }

  private async loadGrid(): Promise<void> {
    const face = this.face;
    filterFace(this.layers, face);
    if (this.data.problem) return;
    const query = new URLSearchParams({ member: this.data.member.id, ...(face ? { face } : {}) });
    const request = (this.asked += 1);
    try {
      const { patches } = await getJson<{ patches: Patch[] }>(`/surveys/${surveyId()}/map/grid?${query}`);
      // A slower answer to an earlier choice must not replace a later one.
      if (request !== this.asked) return;
      this.patches = patches;
      this.paint();
      tell(patches.length === 0 ? "Nothing was removed on this member, as far as the records and photos tell." : "");
    } catch (error) {
      tell(wordsOf(error));
    }
  }

  private paint(): void {
    this.raster.show(this.patches, this.mode);
    legend(need("#ramp"), need("#legend"), this.data, this.mode, this.raster.largestLimit, this.unit);
    // Another face is drawn now, under a pointer that need not have moved.
    if (this.read) this.readOut(this.read);
  }

  private restyle(): void {
    for (const layer of Object.values(this.layers)) layer.changed();
    this.spotMark.changed();
    this.paint();
    this.map.renderSync();
  }

  private place([station, offset]: Point): string {
    const decimals = this.unit === "in" ? 2 : 1;
    const [s, o] = [station, offset].map((mm) => fixed(mm / MM_PER[this.unit], decimals));
    return `station ${s}, ${this.data.member.offset_is} ${o} ${this.unit}`;
  }

  private readOut(at: Point): void {
    this.read = at;
    const here = this.raster.at(at);
    const share = here?.limit ? `, ${Math.round((100 * here.removed) / here.limit)} % of limit` : "";
    const gone = here ? `; ${showLength(here.removed, this.unit)} removed${share}` : "";
    need<HTMLElement>("#under").textContent = this.place(at) + gone;
  }

  private async ask(at: Point): Promise<void> {
    const body = need<HTMLElement>("#spot-body");
    this.spotMark.clear();
    this.spotMark.addFeature(new Feature(new PointGeometry(at)));
    if (!this.opened) {
      this.wanted = at;
      body.replaceChildren(make("p", {}, `${this.place(at)}: the ledger comes when the sums are made.`));
      return;
    }
    const request = (this.spotAsked += 1);
    const entered = this.data.survey_units ?? "mm";
    const [station, offset] = at.map((mm) => String(convert(mm, "mm", entered))) as [string, string];
    const query = new URLSearchParams({ member: this.data.member.id, station, offset });
    try {
      const { spot } = await getJson<{ spot: Spot }>(`/api/surveys/${surveyId()}/spot?${query}`);
      if (request !== this.spotAsked) return;
      const ids = new Set(foundAt(this.layers, at));
      const under = (this.data.findings ?? []).filter((one) => ids.has(one.id));
      body.replaceChildren(ledger(spot, this.data, under, this.unit));
      // On a narrow screen the ledger is below the map; a tap that changes nothing in sight looks dead.
      if (innerWidth < NARROW_PX) need<HTMLElement>("#spot").scrollIntoView({ block: "nearest" });
    } catch (error) {
      if (request === this.spotAsked) body.replaceChildren(make("p", {}, `${this.place(at)}: ${wordsOf(error)}`));
    }
  }

  private marker(): VectorLayer<VectorSource> {
    const cross = (width: number, ink: string): Style =>
      new Style({
        image: new RegularShape({
          points: 4, radius: 13, radius2: 0, angle: 0, fill: new Fill({ color: "transparent" }),
          stroke: new Stroke({ color: ink, width }),
        }),
      });
    return new VectorLayer({ source: this.spotMark, style: () => [cross(5, colour("sheet")), cross(2.5, colour("focus"))] });
  }

  private setUpLayers(): void {
    for (const box of document.querySelectorAll<HTMLInputElement>('input[name="layer"]')) {
      const show = (): void => {
        const layer = box.value === "removal" ? this.raster.layer : this.layers[box.value as keyof Layers];
        layer.setVisible(box.checked);
      };
      box.addEventListener("change", show);
      show();
    }
  }

  // A print is light and has its own size; the canvas has to be drawn again for it, and back afterwards.
  private setUpPrint(): void {
    const theme = document.documentElement.dataset.theme ?? "system";
    addEventListener("beforeprint", () => {
      document.documentElement.dataset.theme = "light";
      document.body.classList.add("printing");
      this.map.updateSize();
      this.restyle();
    });
    addEventListener("afterprint", () => {
      document.documentElement.dataset.theme = theme;
      document.body.classList.remove("printing");
      this.map.updateSize();
      this.restyle();
    });
  }
}

frame();
const target = maybe<HTMLElement>("#map");
if (target) void start(target);
