"""The work list as a PDF: a front page, one card on each half page, and what is held."""

from __future__ import annotations

import datetime as dt
import json
import tempfile
from collections.abc import Callable, Iterable
from importlib import resources
from pathlib import Path
from typing import Any, Final

from corrosion.disposition import MemberDisposition
from corrosion.errors import CorrosionError
from corrosion.model import Mark, SurveyFile
from corrosion.photo.picture import UInt8Array
from corrosion.report.numbers import length_text
from corrosion.report.words import clean
from corrosion.results import Assessment
from corrosion.rules import Caution
from corrosion.target.sheet import PAPERS_MM
from corrosion.units import LengthUnit
from corrosion.worklist.cards import Card, CardKind
from corrosion.worklist.crops import map_crop, photo_crop
from corrosion.worklist.form import CAUTION

Json = dict[str, Any]
Files = dict[str, bytes]
Pictures = Callable[[str], UInt8Array | None]
"""Upright RGB pixels of a photo by its id; None where the picture is not at hand."""

MARGINS_MM = 30.0
GAP_MM = 5.0
_STANDARD: Final = "a-2a"
_MAIN = "sheet.typ"


class PaperError(CorrosionError):
    """A paper the program does not know."""


def no_pictures(photo: str) -> UInt8Array | None:
    """Give no picture of any photo."""
    del photo
    return None


def worklist_pdf(
    assessment: Assessment,
    members: Iterable[MemberDisposition],
    cards: list[Card],
    *,
    paper: str = "a4",
    pictures: Pictures = no_pictures,
    made: dt.date | None = None,
) -> bytes:
    """Make the PDF of a work list.

    Parameters
    ----------
    assessment : Assessment
    members : iterable of MemberDisposition
        Of the same assessment.
    cards : list of Card
        From `build_cards` of both.
    paper : {"a4", "letter"}
    pictures : callable
        Where the photos' pixels come from; each photo is asked for once.
    made : date, optional
        Date of the document; with it the file is PDF/A-2a, which asks for one.

    Returns
    -------
    bytes
        Cards that ask for work stand two on a page; what is held is a table at the end.

    Raises
    ------
    PaperError
        If the paper is not known.
    """
    import matplotlib as mpl  # noqa: PLC0415 -- only for the fonts that come with it
    import typst  # noqa: PLC0415 -- heavy, and only printing needs it

    if paper.lower() not in PAPERS_MM:
        raise PaperError(f"paper {paper!r} is not known.", remedy=f"Papers: {', '.join(PAPERS_MM)}.")
    files = _files(assessment, list(members), cards, PAPERS_MM[paper.lower()], pictures, made)
    fonts = Path(mpl.get_data_path()) / "fonts" / "ttf"
    with tempfile.TemporaryDirectory(prefix="worklist-") as name:
        folder = Path(name)
        for file, data in files.items():
            (folder / file).write_bytes(data)
        pdf: bytes = typst.compile(
            folder / _MAIN,
            root=folder,
            format="pdf",
            font_paths=[fonts],
            ignore_system_fonts=True,
            pdf_standards=_STANDARD if made else None,
        )
    return pdf


def _files(
    assessment: Assessment,
    members: list[MemberDisposition],
    cards: list[Card],
    paper: tuple[float, float],
    pictures: Pictures,
    made: dt.date | None,
) -> Files:
    """Everything the pages are made from, by name."""
    survey = assessment.survey
    unit: LengthUnit = survey.display_units or survey.units
    bench = [card for card in cards if card.kind is not CardKind.HOLD]
    files = _map_crops(members, bench, unit) | _photo_crops(survey, bench, pictures)
    title = f"Work list: {survey.structure.name}"
    data: Json = {
        "title": title,
        "subtitle": ", ".join(filter(None, [survey.survey.name, survey.survey.date or ""])),
        "caution": CAUTION,
        "paper": paper,
        "half": (paper[1] - MARGINS_MM - 2.0 * GAP_MM) / 2.0,
        "gap": GAP_MM,
        "made": [made.year, made.month, made.day] if made else None,
        "cautions": _cautions(members),
        "overview": [_overview(card) for card in bench],
        "cards": [_card(card, unit, files) for card in bench],
        "held": [_held(card) for card in cards if card.kind is CardKind.HOLD],
    }
    sheet = resources.files("corrosion.worklist") / _MAIN
    text = json.dumps(_cleaned(data), ensure_ascii=False)
    return files | {_MAIN: sheet.read_bytes(), "cards.json": text.encode()}


def _cleaned(value: Any) -> Any:
    """Take control characters out of every text: a name in a file must not spoil a page."""
    if isinstance(value, str):
        return clean(value)
    if isinstance(value, dict):
        return {name: _cleaned(part) for name, part in value.items()}
    return [_cleaned(part) for part in value] if isinstance(value, (list, tuple)) else value


def _map_crops(members: list[MemberDisposition], cards: list[Card], unit: LengthUnit) -> Files:
    plans = {one.member_id: one.plan for one in members}
    drawn = {f"map-{card.id}.svg": map_crop(plans[card.place.member.id], card, unit) for card in cards}
    return {name: data for name, data in drawn.items() if data is not None}


def _photo_crops(survey: SurveyFile, cards: list[Card], pictures: Pictures) -> Files:
    """Crop each card's best sighting; one photo is decoded at a time, whatever the number of cards."""
    marks = {(photo.id, mark.id): mark for photo in survey.photos for mark in photo.marks}
    wanted: dict[str, list[tuple[Card, Mark]]] = {}
    for card in cards:
        source = next((s for f in card.findings for s in f.sources if s in marks), None)
        if source is not None:
            wanted.setdefault(source[0], []).append((card, marks[source]))
    files: Files = {}
    for photo, listed in wanted.items():
        pixels = pictures(photo)
        if pixels is None:
            continue
        for card, mark in listed:
            try:
                files[f"photo-{card.id}.jpg"] = photo_crop(pixels, mark, survey.settings)
            except CorrosionError:
                # A mark that cannot be drawn has told why in the assessment; the card does without.
                continue
    return files


def _cautions(members: list[MemberDisposition]) -> list[Json]:
    """Every caution once, with the members it is for."""
    found: dict[str, tuple[Caution, list[str]]] = {}
    for one in members:
        for caution in one.cautions:
            found.setdefault(caution.id, (caution, []))[1].append(one.member_id)
    return [
        {"title": c.title, "text": c.text, "source": c.source, "members": ", ".join(ids)}
        for c, ids in found.values()
    ]


def _member_words(card: Card) -> str:
    member, face = card.place.member, card.place.face
    named = f"{member.id} {member.name}".strip()
    side = f", {face} face" if face else ""
    return f"{named}{side}, zone {member.zone}, {member.material}"


def _overview(card: Card) -> list[str]:
    member, face = card.place.member, card.place.face
    findings = ", ".join(finding.id for finding in card.findings)
    side = f", {face} face" if face else ""
    return [str(card.number), _kind_words(card), f"{member.id}{side}", card.place.words, findings]


def _kind_words(card: Card) -> str:
    return str(card.kind).capitalize()


def _card(card: Card, unit: LengthUnit, files: Files) -> Json:
    map_name, photo_name = f"map-{card.id}.svg", f"photo-{card.id}.jpg"
    photo = next((photo for f in card.findings for photo, _ in f.sources), "")
    return {
        "id": card.id,
        "number": str(card.number),
        "kind": _kind_words(card),
        "member": _member_words(card),
        "where": card.place.words[:1].upper() + card.place.words[1:],
        "findings": ", ".join(finding.id for finding in card.findings),
        "figures": _figures(card),
        "abrasives": [{"text": fact.text, "source": fact.source} for fact in card.abrasives],
        "notes": [*(card.reasons if card.kind is CardKind.MEASURE else []), *card.notes],
        "cautions": ", ".join(caution.title for caution in card.cautions),
        "steps": [{"name": s.name.capitalize(), "text": s.text, "source": s.source} for s in card.steps],
        "after": [words for words in (_done_words(card, unit), card.replaces) if words],
        "map": map_name if map_name in files else None,
        "map_alt": f"Where it is on {card.place.member.id}: {card.place.words}",
        "photo": photo_name if photo_name in files else None,
        "photo_alt": f"Photo {photo}, outline as marked",
    }


def _figures(card: Card) -> list[tuple[str, str, str]]:
    target = card.target
    if target is None:
        return []
    figures = target.figures
    return [
        ("Target depth", figures.target, figures.measured),
        ("STOP at", figures.stop or "no limit set", "read there, whatever is still to be seen"),
        ("Run-out", f"{figures.run_out} or more on each side", target.run_out_words),
        ("Outline", figures.footprint, f"Ratio: {target.run_out_source}" if target.run_out_source else ""),
    ]


def _done_words(card: Card, unit: LengthUnit) -> str:
    """Say how the finished blend-out differs from its plan; empty where none was kept."""
    done = card.done
    if done is None or done.depth_difference is None:
        return ""
    deeper = "deeper" if done.depth_difference > 0.0 else "shallower"
    off = length_text(abs(done.depth_difference), unit)
    planned = length_text(done.planned.depth.value, unit)
    return (
        f"Done against plan {done.planned.id}: {off} {unit} {deeper} than the {planned} {unit} planned, by "
        f"{', '.join(done.actual)}."
    )


def _held(card: Card) -> list[str]:
    figures = card.target.figures if card.target else None
    depth = "-" if figures is None else f"{figures.target} / {figures.stop or 'no limit'}"
    names = ", ".join(finding.id for finding in card.findings)
    where = f"{_member_words(card)}: {card.place.words} ({names})"
    action = "" if str(card.action) == "not determined" else f"{str(card.action).capitalize()}. "
    return [str(card.number), where, depth, action + " ".join(card.reasons)]
