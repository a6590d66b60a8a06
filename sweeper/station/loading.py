"""From a file to a `Station`, or to every mistake in it at once."""

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, get_args, get_origin

from pydantic import BaseModel, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo

from sweeper import words
from sweeper.station import drivers, sense
from sweeper.station.lines import Place, read
from sweeper.station.problems import Problem, StationFileError
from sweeper.station.sections import Receiver, Station, Switch


def load(path: Path | str) -> Station:
    """The station that the file describes. `StationFileError` with every mistake when it cannot be used."""
    file = Path(path)
    content, lines = read(file)
    found = _Found(file, lines)
    content = dict(content)
    sections: dict[drivers.Kind, type[BaseModel]] = {"receiver": Receiver, "switch": Switch}
    for kind, model in sections.items():
        if isinstance(content.get(kind), dict):
            content[kind] = _with_driver_options(content[kind], kind, model, found)
    try:
        station = Station.model_validate(content)
    except ValidationError as error:
        found.add_all(error, (), Station)
        station = None
    for place, what, mend in sense.check(
        station if station is not None else _what_is_right(Station, content)
    ):
        found.add(place, what, mend)
    if found.problems or station is None:
        raise StationFileError(found.in_order())
    return station


class _Found:
    """The mistakes found so far, in order, each with its place in the file."""

    def __init__(self, file: Path, lines: Mapping[Place, int]) -> None:
        self.file = file
        self.lines = lines
        self.problems: list[Problem] = []

    def add(self, place: Place, what: str, mend: str) -> None:
        line = next((self.lines[place[:n]] for n in range(len(place), 0, -1) if place[:n] in self.lines), 0)
        self.problems.append(Problem(self.file, line, dotted(place), what, mend))

    def add_all(self, error: ValidationError, inside: Place, model: type[BaseModel]) -> None:
        errors = error.errors(include_url=False)
        for each in errors:
            length = len(each["loc"])
            if each["type"] == "too_short" and any(
                e["loc"][:length] == each["loc"] != e["loc"] for e in errors
            ):
                continue  # Its items are there, but wrong.
            place = (*inside, *each["loc"])
            what, mend = _sentence(each, model)
            self.add(place, what, mend)

    def in_order(self) -> tuple[Problem, ...]:
        return tuple(sorted(dict.fromkeys(self.problems), key=lambda problem: problem.line))


def dotted(place: Iterable[str | int]) -> str:
    """``bands[0].channels[2].hz``, as a person would point at it."""
    text = ""
    for part in place:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text or "the file"


def _with_driver_options(
    section: dict[Any, Any], kind: drivers.Kind, model: type[BaseModel], found: _Found
) -> dict[Any, Any]:
    """The section with the driver's own keys moved into ``options``, validated by the driver."""
    common = _keys(model) - {"options"}
    own = {key: value for key, value in section.items() if key not in common}
    kept: dict[Any, Any] = {key: value for key, value in section.items() if key in common}
    wanted = section.get("driver")
    if not isinstance(wanted, str):
        _unknown(own, kind, common, found)
        return kept
    try:
        driver = drivers.driver(wanted)
    except LookupError:
        at_hand = drivers.names_of(kind)
        found.add(
            (kind, "driver"),
            f"there is no driver {wanted!r}.",
            _did_you_mean(wanted, at_hand) or f"One of {', '.join(at_hand)}.",
        )
        return kept
    except ImportError as error:
        found.add(
            (kind, "driver"), f"the driver {wanted!r} cannot be loaded: {error}.", "Install what it needs."
        )
        return kept
    if driver.kind != kind:
        found.add(
            (kind, "driver"),
            f"{wanted!r} drives a {driver.kind}, not a {kind}.",
            f"One of {', '.join(drivers.names_of(kind))}.",
        )
        return kept
    theirs = _keys(driver.options)
    if driver.options.model_config.get("extra") != "allow":
        _unknown(
            {key: value for key, value in own.items() if key not in theirs}, kind, common | theirs, found
        )
        own = {key: value for key, value in own.items() if key in theirs}
    for_sound = getattr(driver.options, "for_sound", None)
    if isinstance(section.get("audio"), dict) and for_sound is not None:
        own = for_sound(own)
    for_spectrum = getattr(driver.options, "for_spectrum", None)
    if isinstance(section.get("spectrum"), dict) and for_spectrum is not None:
        own = for_spectrum(own)
    shared = {key: kept[key] for key in theirs & kept.keys()}
    if isinstance(shared.get("paths"), dict):
        # What is wrong with these is told once, by `sense`.
        shared["paths"] = {
            name: setting for name, setting in shared["paths"].items() if setting and _is_path(name)
        }
    try:
        kept["options"] = driver.options.model_validate(shared | own)
    except ValidationError as error:
        found.add_all(error, (kind,), driver.options)
    return kept


def _is_path(name: object) -> bool:
    try:
        return bool(words.SignalPath.parse(str(name)))
    except ValueError:
        return False


def _unknown(keys: Iterable[Any], name: str, known: frozenset[str], found: _Found) -> None:
    for key in keys:
        found.add((name, key), *_unknown_key(str(key), known))


def _unknown_key(key: str, known: Iterable[str]) -> tuple[str, str]:
    return f"there is no key {key!r} here.", _did_you_mean(
        key, known
    ) or f"Known keys: {', '.join(sorted(known))}."


def _did_you_mean(word: str, known: Iterable[str]) -> str:
    close = get_close_matches(word, sorted(known), n=1, cutoff=0.6)
    return f"Did you mean {close[0]!r}?" if close else ""


def _keys(model: type[BaseModel]) -> frozenset[str]:
    """The keys that a person may write in this model's section."""
    return frozenset(field.alias or name for name, field in model.model_fields.items())


def _model_at(model: type[BaseModel], place: Place) -> tuple[type[BaseModel], str]:
    """The model in which the last key of the place stands, and that key's mend."""
    mend = ""
    for part in place:
        if isinstance(part, int):
            continue
        field = next((f for name, f in model.model_fields.items() if part in (name, f.alias)), None)
        if field is None:
            continue
        mend = field.description or mend
        inner = next((m for m in _models_in(field.annotation) if m.model_fields), None)
        if inner is not None:
            model = inner
    return model, mend


def _models_in(annotation: Any) -> Iterable[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for argument in getattr(annotation, "__args__", ()):
        yield from _models_in(argument)


def _is_list(annotation: Any) -> bool:
    """Whether a list of sections is wanted, and not one of them."""
    return any(get_origin(each) in (tuple, list) for each in (annotation, *get_args(annotation)))


def _sentence(error: Any, model: type[BaseModel]) -> tuple[str, str]:
    place: Place = error["loc"]
    if error["type"] == "extra_forbidden":
        holder, _ = _model_at(model, place[:-1])
        return _unknown_key(str(place[-1]), _keys(holder) - {"options"})
    _, mend = _model_at(model, place)
    if error["type"] == "too_long":
        most, found = error["ctx"]["max_length"], error["ctx"]["actual_length"]
        return f"it has {found} entries, and at most {most} are read.", "Put together what belongs together."
    if error["type"] == "missing":
        return "this key is missing.", mend
    given = error["input"]
    if error["type"] == "string_pattern_mismatch":
        return f"{given!r} does not fit.", mend  # what fits is in the mend, in words
    message = error["msg"].removeprefix("Value error, ").removesuffix(".")
    if isinstance(given, str | int | float | bool) or given is None:
        return f"{given!r} does not fit: {message[0].lower()}{message[1:]}.", mend
    if error["type"] in WANTED:
        wanted = WANTED[error["type"]]
        stands = "key: value pairs" if isinstance(given, dict) else "a list"
        return f"here stand {stands} where {wanted} belongs.", mend or f"Write {wanted}."
    return f"{message}.", mend


WANTED = {
    "string_type": "plain text",
    "int_type": "a whole number",
    "float_type": "a number",
    "bool_type": "on or off",
    "dict_type": "a mapping (key: value)",
    "mapping_type": "a mapping (key: value)",
    "model_type": "a mapping (key: value)",
    "list_type": "a list",
    "tuple_type": "a list",
}
"""What belongs in a place by the checking library's own name of the mistake, where its words are not the trade's."""


def _adapter(field: FieldInfo) -> TypeAdapter[Any]:
    limited: Any = Annotated[(field.annotation, *field.metadata)] if field.metadata else field.annotation
    return TypeAdapter(limited)


def _what_is_right(model: type[BaseModel], content: Any) -> Any:
    """The parts of the content that validate, so that what must fit together is checked in the same go."""
    if not isinstance(content, dict):
        return None
    right: dict[str, Any] = {}
    for name, field in model.model_fields.items():
        value = content.get(field.alias or name, content.get(name))
        if value is None:
            right[name] = None if field.is_required() else field.get_default(call_default_factory=True)
            continue
        try:
            right[name] = _adapter(field).validate_python(value)
        except ValidationError:
            inner = next(iter(_models_in(field.annotation)), None)
            if inner is None or isinstance(value, list) != _is_list(field.annotation):
                right[name] = None
            elif isinstance(value, list):
                right[name] = tuple(_what_is_right(inner, item) for item in value)
            else:
                right[name] = _what_is_right(inner, value)
    given = {name for name, field in model.model_fields.items() if {field.alias or name, name} & set(content)}
    return model.model_construct(given, **right)
