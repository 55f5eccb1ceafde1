"""The last pages: signatures and seal, the list of photos, and how the numbers came about."""

from __future__ import annotations

from corrosion.record.blocks import (
    NOTHING,
    Block,
    Cell,
    facts,
    heading,
    paragraph,
    strong,
    table,
    with_code,
)
from corrosion.record.facts import RecordFacts, Signature
from corrosion.record.front import DRAFT, cited_words
from corrosion.record.pictures import Shot
from corrosion.record.subject import Subject
from corrosion.report.numbers import length_text, percent_text
from corrosion.report.tables import assessment_flags, measures_flags
from corrosion.report.words import flag_legend
from corrosion.terms import Flag

UNCHANGED, CHANGED, UNSTATED = "as marked", "NOT the file that was marked", "no hash in the survey file"


def closing_sections(subject: Subject, record: RecordFacts, shots: dict[str, Shot]) -> list[Block]:
    """Signatures, seal, history, photo list, method."""
    return [*_signatures(subject, record), *_photo_list(subject, shots), *_method(subject)]


def _signatures(subject: Subject, record: RecordFacts) -> list[Block]:
    blocks = [heading(1, "Signatures and seal", new_page=True)]
    for one in record.signatures:
        blocks += _signature(one)
    if not record.signatures:
        blocks.append(paragraph("Not signed."))
    seal, head = record.seal, record.history_head
    history = f"entry {head.seq}, hash {head.hash}" if head else "no history was handed to this report"
    blocks += [
        heading(2, "Seal"),
        facts(
            [
                ("State", DRAFT if seal is None else "sealed"),
                ("Sealed by", seal.by if seal else ""),
                ("Sealed at", seal.at if seal else ""),
                ("Sealed file, SHA-256", seal.digest if seal else ""),
                ("Survey file, SHA-256", subject.digest),
                ("Revision", str(record.revision)),
                ("Corrects", cited_words(record.revises)),
                ("Reason", record.revision_reason),
                ("Sums carried from", cited_words(record.carried_from)),
                ("History head", history),
            ]
        ),
    ]
    if seal is not None and seal.digest != subject.digest:
        words = "The survey file this report was made from is NOT the sealed one: the two digests differ."
        blocks.append(paragraph(words, "box"))
    return blocks


def _signature(one: Signature) -> list[Block]:
    certificate = " ".join(part for part in (one.certificate_kind, one.certificate_number) if part)
    return [
        heading(2, f"Signed as {one.role}"),
        facts(
            [
                ("Name", one.name),
                ("Certificate", certificate),
                ("Statement", one.statement),
                ("Place", one.place),
                ("Date", one.date),
                ("Taken by the program at", one.signed_at),
            ]
        ),
    ]


def _photo_list(subject: Subject, shots: dict[str, Shot]) -> list[Block]:
    rows: list[list[Cell]] = []
    altered = 0
    for photo in subject.assessment.survey.photos:
        shot = shots.get(photo.id) or Shot(photo.id)
        size = photo.size or shot.size_px
        digest = shot.sha256 or photo.sha256
        altered += shot.altered
        state = UNSTATED if photo.sha256 is None else UNCHANGED
        state = CHANGED if shot.altered else state
        state = "not at hand" if shot.sha256 is None else state
        rows.append(
            [
                strong(photo.id),
                with_code(photo.file, digest or ""),
                NOTHING if shot.size_bytes is None else f"{shot.size_bytes:,}",
                f"{size[0]} x {size[1]}" if size else NOTHING,
                strong(state) if shot.altered else state,
            ]
        )
    blocks = [
        heading(1, "Photo files"),
        paragraph(
            "Hashes are of the files as they were when this report was made; the last column holds them "
            "against the hashes in the survey file.",
            "quiet",
        ),
    ]
    if altered:
        blocks.append(paragraph(f"{altered} files are not those that were marked.", "box"))
    head = ["Photo", "File and its SHA-256", "Bytes", "Size, px", "State"]
    return [*blocks, *table(head, rows, right=(2, 3), empty="The survey has no photos.")]


def _method(subject: Subject) -> list[Block]:
    survey, unit = subject.assessment.survey, subject.unit
    settings = survey.settings
    rows: list[list[Cell]] = [
        [
            strong(one.id),
            one.kind or NOTHING,
            f"{length_text(one.u_systematic, unit)} {unit}",
            one.calibrated or "not stated",
            one.note or NOTHING,
        ]
        for one in survey.instruments
    ]
    flags: frozenset[Flag] = measures_flags(subject.assessment.photos) | assessment_flags(
        subject.assessment
    )
    return [
        heading(1, "How the numbers came about"),
        paragraph(
            "Marks on photos are measured through their scale reference; depths are read with "
            "instruments; removals are laid on the member's developed surface and added up face by face in "
            "order of date. Uncertainties follow JCGM 100 and are given as U = 2 u, about 95 %; verdicts "
            "follow the thinking of JCGM 106. Marks of one photo share its scale, readings of one "
            "instrument its systematic part.",
        ),
        facts(
            [
                (
                    "Still counts as within",
                    f"probability over at most {percent_text(settings.within_probability)}",
                ),
                ("u of a reference click", f"{settings.reference_sigma_px:g} px"),
                ("u of a mark's corner", f"{settings.mark_sigma_px:g} px"),
                ("u of an edge, common", f"{settings.edge_u_px:g} px"),
                (
                    "u of a layout point",
                    f"{length_text(settings.u_layout, unit)} {unit}" if settings.u_layout else "",
                ),
            ]
        ),
        heading(2, "Instruments"),
        *table(
            [
                "Instrument",
                "Kind",
                "u, systematic",
                "Calibrated",
                "Note",
            ],
            rows,
            empty="None is stated.",
        ),
        heading(2, "Flags in use"),
        *table(
            ["Flag", "Meaning"],
            [[strong(words), meaning] for words, meaning in flag_legend(flags)],
            empty="None.",
        ),
    ]
