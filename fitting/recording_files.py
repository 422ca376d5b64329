"""Reads a muscle recording from a text file: time, one or two channels, and perhaps a column of cues.

Columns stand between commas, semicolons or tabs; the first is time. A header is not needed. Between semicolons or tabs
numbers may have a decimal comma. An empty field is a missing sample. Nothing in the file is ever evaluated.
"""

import io
import re
from dataclasses import dataclass

import numpy as np

from fitting.calc.muscle.recording import LEVELS, SHORTEST_CUE_S, Cue
from fitting.calc.muscle.recording_faults import TIME_IN_MS_STEP

MOST_BYTES = 64 * 1024 * 1024
MOST_ROWS = 3_000_000
MOST_MINUTES = 10
MOST_HEADER_LINES = 20
LOOKED_AT = 64 * 1024  # bytes in which the layout is found

PACKED = (b"PK\x03\x04", b"\x1f\x8b", b"BZh", b"\xfd7zXZ", b"\xd0\xcf\x11\xe0", b"%PDF", b"7z\xbc\xaf")
UTF8_BOM, UTF16_BOMS = b"\xef\xbb\xbf", (b"\xff\xfe", b"\xfe\xff")
SEPARATORS = (b"\t", b";", b",")  # in this order: commas may be decimal between the other two

TIME_UNITS_S = {"s": 1.0, "ms": 1e-3}
CUE_NAMES = frozenset({"cue", "cues", "level", "label", "task"})
NO_CUE = -1
PAUSES = dict.fromkeys(("none", "pause", "wait"), NO_CUE)
SECOND_MUSCLE = 10  # added to the number of a level when the cue is for the second channel
CUE_NUMBERS = {f"{level}2": SECOND_MUSCLE + number for number, level in enumerate(LEVELS) if number} | {
    level: number for number, level in enumerate(LEVELS)
}


class RecordingFileError(ValueError):
    """The file cannot be read. code: what is wrong; figures: what the sentence needs, `line` counts from 1."""

    def __init__(self, code: str, **figures):
        super().__init__(code)
        self.code = code
        self.figures = figures


@dataclass(frozen=True)
class RecordingFile:
    """What a file holds. time_s: shape (n,) [s]; values: shape (n, channels), as written; cues: None without any."""

    time_s: np.ndarray
    values: np.ndarray
    names: tuple[str, ...]
    cues: tuple[Cue, ...] | None


@dataclass(frozen=True)
class _Layout:
    separator: bytes
    header_lines: int
    names: tuple[str, ...]
    columns: int
    cue_column: int | None
    trailing: bool


def read_recording(data: bytes, time_unit: str = "s") -> RecordingFile:
    """Recording in a file's bytes; time_unit: s or ms, as its first column is written. Raises RecordingFileError."""
    text = _plain(data)
    layout = _layout_of(text)
    table = _table(text, layout)
    if len(table) < 2:
        raise RecordingFileError("one_row")
    time_s = table[:, 0] * TIME_UNITS_S[time_unit]
    _check_length(time_s)
    channels = [column for column in range(1, layout.columns) if column != layout.cue_column]
    return RecordingFile(
        time_s,
        np.ascontiguousarray(table[:, channels]),
        tuple(layout.names[column] for column in channels) if layout.names else (),
        None if layout.cue_column is None else _cues(time_s, table[:, layout.cue_column], layout),
    )


def _plain(data: bytes) -> bytes:
    """The text with plain line ends and no byte order mark."""
    if len(data) > MOST_BYTES:
        raise RecordingFileError("too_large", most_mb=MOST_BYTES // 2**20)
    if data.startswith(PACKED):
        raise RecordingFileError("packed")
    if data.startswith(UTF16_BOMS):
        data = data.decode("utf-16", "replace").encode()
    if b"\0" in data:
        raise RecordingFileError("not_text")
    text = data.removeprefix(UTF8_BOM)
    if b"\r" in text:
        text = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if not text.strip():
        raise RecordingFileError("empty")
    if text.count(b"\n") > MOST_ROWS:
        raise RecordingFileError("too_many_rows", most=MOST_ROWS)
    return text


def _layout_of(text: bytes) -> _Layout:
    """Separator, header and columns, from the first lines."""
    lines = text[:LOOKED_AT].split(b"\n")
    lines = lines[:-1] if len(text) > LOOKED_AT else [line for line in lines if line.strip()]
    for number, line in enumerate(lines[: MOST_HEADER_LINES + 1]):
        separator = next((mark for mark in SEPARATORS if mark in line), None)
        if separator and _is_row(line, separator):
            return _layout_from(lines[:number], lines[number:], separator)
    raise RecordingFileError("no_rows", most=MOST_HEADER_LINES)


def _layout_from(header, rows, separator):
    trailing = all(row.rstrip(b" ").endswith(separator) for row in rows)
    fields = _fields(rows[0], separator)[: -1 if trailing else None]
    names = tuple(field.decode("utf-8", "replace") for field in _fields(header[-1], separator)) if header else ()
    names = names[: len(fields)] if len(names) - trailing == len(fields) else ()
    cue_column = _cue_column(names, fields)
    channels = len(fields) - 1 - (cue_column is not None)
    if channels not in (1, 2):
        raise RecordingFileError("channels", channels=channels)
    return _Layout(separator, len(header), names, len(fields), cue_column, trailing)


def _fields(line: bytes, separator: bytes) -> list[bytes]:
    return [field.strip(b' "') for field in line.split(separator)]


def _is_row(line, separator):
    """Whether a line's first two fields are numbers, missing, or a cue."""
    fields = _fields(line.replace(b",", b".") if separator != b"," else line, separator)
    return (
        len(fields) > 1
        and any(fields[:2])
        and all(not field or _is_number(field) or _is_cue(field) for field in fields[:2])
    )


def _is_cue(field):
    return field.decode("utf-8", "replace").lower() in CUE_NUMBERS.keys() | PAUSES.keys()


def _is_number(field):
    try:
        float(field)
    except ValueError:
        return False
    return b"_" not in field


def _cue_column(names, fields):
    """By its name; by its words; or because there are four columns, and no more than two can be channels."""
    for column, name in enumerate(names):
        if column and not CUE_NAMES.isdisjoint(re.split(r"[^a-z]+", name.lower())):
            return column
    if _is_cue(fields[-1]) or len(fields) == 4:
        return len(fields) - 1
    return None


def _table(text: bytes, layout: _Layout) -> np.ndarray:
    """All rows as numbers, shape (n, columns); raises RecordingFileError with the line of the first that is none."""
    body = _body(text, layout)
    try:
        return np.loadtxt(
            io.BytesIO(body),
            delimiter=layout.separator.decode(),
            comments=None,
            quotechar='"',
            ndmin=2,
            encoding="latin1",
        )
    except ValueError:
        raise _complaint(body, layout) from None


def _body(text, layout):
    """The rows without header, with words and empty fields turned into numbers."""
    separator = layout.separator
    body = text.split(b"\n", layout.header_lines)[-1]
    if separator != b",":
        body = body.replace(b",", b".")
    if layout.trailing:
        body = body.replace(separator + b"\n", b"\n").removesuffix(separator)
    if layout.cue_column is not None:
        body = body.lower()
        for word, number in {**CUE_NUMBERS, **PAUSES}.items():
            body = body.replace(word.encode(), str(number).encode())
    return _with_missing(body, separator)


def _with_missing(body, separator):
    for empty, full in (
        (separator * 2, separator + b"nan" + separator),
        (separator * 2, separator + b"nan" + separator),
        (separator + b"\n", separator + b"nan\n"),
        (b"\n" + separator, b"\nnan" + separator),
    ):
        if empty in body:
            body = body.replace(empty, full)
    return body + b"nan" if body.endswith(separator) else body


def _complaint(body, layout):
    """What is wrong with the first bad line, found by the slow way."""
    for number, line in enumerate(body.split(b"\n"), start=layout.header_lines + 1):
        fields = _fields(line, layout.separator)
        if not line.strip():
            continue
        if len(fields) != layout.columns:
            return RecordingFileError("columns", line=number, found=len(fields), expected=layout.columns)
        bad = next((field for field in fields if not _is_number(field)), None)
        if bad is not None:
            return RecordingFileError("number", line=number, text=bad[:30].decode("utf-8", "replace"))
    return RecordingFileError("not_text")


def _check_length(time_s):
    known = time_s[np.isfinite(time_s)]
    in_seconds = len(known) > 1 and np.median(np.diff(known)) < TIME_IN_MS_STEP
    if in_seconds and np.ptp(known) > MOST_MINUTES * 60:
        raise RecordingFileError("too_long", most_minutes=MOST_MINUTES)


def _cues(time_s: np.ndarray, codes: np.ndarray, layout: _Layout) -> tuple[Cue, ...]:
    """A cue for each run of one number of at least a quarter second; below zero and empty mean no cue."""
    codes = np.where(codes >= 0, codes, NO_CUE)
    unknown = np.flatnonzero(~np.isin(codes, (NO_CUE, *CUE_NUMBERS.values())))
    if len(unknown):
        raise RecordingFileError("cue", line=int(unknown[0]) + layout.header_lines + 1, text=f"{codes[unknown[0]]:g}")
    first = np.concatenate(([0], np.flatnonzero(np.diff(codes)) + 1))
    ends = np.append(time_s[first[1:]], time_s[-1])
    found = [
        Cue(LEVELS[int(code) % SECOND_MUSCLE], float(start), float(end), int(code) // SECOND_MUSCLE)
        for code, start, end in zip(codes[first], time_s[first], ends, strict=True)
        if code >= 0
    ]
    return tuple(cue for cue in found if cue.end_s - cue.start_s >= SHORTEST_CUE_S)
