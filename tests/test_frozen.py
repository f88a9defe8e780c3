"""Frozen dataclasses are those of the standard library, though little of them is compiled."""

from __future__ import annotations

import copy
import dataclasses
import importlib
import inspect
import pickle
import pkgutil
import subprocess
import sys
from typing import ClassVar

import pytest

import bpvet
from bpvet import frozen
from bpvet.frozen import dataclass, field, field_names, is_dataclass, replace, required_names


@dataclass(frozen=True)
class Base:
    """Fields of each kind."""

    first: int
    second: str = "two"
    many: list[int] = field(default_factory=list, compare=False)
    hidden: float = field(default=0.5, repr=False, metadata={"printed": False})
    after: bool = field(default=False, kw_only=True)
    kinds: ClassVar[int] = 3

    def __post_init__(self) -> None:
        if self.first < 0:
            raise ValueError("below 0")


@dataclass(frozen=True, eq=False, kw_only=True)
class Heir(Base):
    """Adds to another."""

    needed: int
    second: str = "other"


@dataclasses.dataclass(frozen=True)
class Plain:
    """The standard library's, with the fields of `Base`."""

    first: int
    second: str = "two"
    many: list[int] = dataclasses.field(default_factory=list, compare=False)
    hidden: float = dataclasses.field(default=0.5, repr=False, metadata={"printed": False})
    after: bool = dataclasses.field(default=False, kw_only=True)
    kinds: ClassVar[int] = 3


def _ours() -> list[type]:
    found = {}
    for module in pkgutil.walk_packages(bpvet.__path__, "bpvet."):
        if module.name.endswith("__main__"):
            continue
        for value in vars(importlib.import_module(module.name)).values():
            known = vars(value).get("__dataclass_fields__") if isinstance(value, type) else None
            if known is not None and not isinstance(known, dict):
                found[value.__module__, value.__qualname__] = value
    return list(found.values())


def test_every_class_is_what_the_standard_library_makes_of_it() -> None:
    ours = _ours()
    assert len(ours) > 400
    for kind in ours:
        assert dataclasses.is_dataclass(kind), kind
        assert is_dataclass(kind), kind
        known = dataclasses.fields(kind)
        assert field_names(kind) == tuple(each.name for each in known), kind
        assert required_names(kind) == tuple(
            each.name
            for each in known
            if each.default is dataclasses.MISSING and each.default_factory is dataclasses.MISSING
        )
        for wanted in ("compare", "repr"):
            assert field_names(kind, wanted) == tuple(
                each.name for each in known if getattr(each, wanted)
            )
        assert kind.__match_args__ == tuple(each.name for each in known if not each.kw_only)
        taken = inspect.signature(kind).parameters
        assert set(taken) == {each.name for each in known}, kind
        assert kind.__dataclass_params__.frozen


def test_it_prints_compares_and_is_called_as_the_standard_library_has_it() -> None:
    for args, given in [((1,), {}), ((1, "x"), {"after": True}), ((), {"first": 2, "hidden": 1.0})]:
        mine, plain = Base(*args, **given), Plain(*args, **given)
        assert repr(mine) == repr(plain).replace("Plain", "Base")
        assert dataclasses.asdict(mine) == dataclasses.asdict(plain)
        assert vars(mine) == vars(plain)
        assert list(vars(mine)) == list(vars(plain))
        assert mine == Base(*args, **given)
        assert hash(mine) == hash(Base(*args, **given))
        assert mine != Base(9)
        assert mine != plain
    assert Base(1, many=[1]) == Base(1, many=[2])
    assert str(inspect.signature(Base)) == str(inspect.signature(Plain))
    assert Base.second == "two"
    assert Base.kinds == 3
    assert not hasattr(Base, "many")
    assert Heir(1, needed=2).second == "other"
    with pytest.raises(ValueError, match="below 0"):
        Base(-1)


@pytest.mark.parametrize(
    ("args", "given"),
    [
        ((), {}),
        ((1, "x", [], 0.1, True), {}),
        ((1,), {"first": 2}),
        ((1,), {"strange": 2}),
        ((1, "x", [], 0.1, True, 7), {"after": False}),
    ],
)
def test_a_wrong_call_is_refused_in_the_same_words(args: tuple, given: dict) -> None:
    with pytest.raises(TypeError) as wanted:
        Plain(*args, **given)
    with pytest.raises(TypeError) as refused:
        Base(*args, **given)
    assert str(refused.value) == str(wanted.value).replace("Plain", "Base")


def test_nothing_of_it_can_be_changed() -> None:
    for made in (Base(1), Heir(1, needed=2)):
        with pytest.raises(dataclasses.FrozenInstanceError, match="assign to field 'first'"):
            # A checker refuses it as well, which is what is wanted.
            made.first = 2  # type: ignore[misc]
        with pytest.raises(dataclasses.FrozenInstanceError, match="delete field 'first'"):
            del made.first
    with pytest.raises(TypeError, match="standard library"):
        dataclass(frozen=False)
    with pytest.raises(TypeError, match="no init"):
        field(init=False)


def test_copies_and_changes() -> None:
    made = Base(1, many=[3], after=True)
    for same in (pickle.loads(pickle.dumps(made)), copy.copy(made), copy.deepcopy(made)):
        assert vars(same) == vars(made)
    for changed in (replace(made, first=4), dataclasses.replace(made, first=4)):
        assert vars(changed) == vars(made) | {"first": 4}
    with pytest.raises(TypeError):
        replace(made, strange=1)
    with pytest.raises(ValueError, match="below 0"):
        replace(made, first=-1)


def test_many_objects_are_made_by_compiled_code_and_are_the_same() -> None:
    @dataclass(frozen=True)
    class Many:
        first: int
        second: list[int] = field(default_factory=list)

    plainly = Many.__init__
    made = [Many(i) for i in range(frozen.MOST_PLAIN + 3)]
    assert Many.__init__ is not plainly
    assert [one.first for one in made] == list(range(len(made)))
    assert made[0] == Many(0)
    assert vars(made[-1]) == {"first": len(made) - 1, "second": []}
    assert made[0].second is not made[1].second
    with pytest.raises(TypeError, match="missing 1 required positional argument"):
        # As above: the call is wrong on purpose.
        Many()  # type: ignore[call-arg]


def test_a_class_that_defines_them_keeps_its_own() -> None:
    @dataclass(frozen=True)
    class Own:
        first: int

        def __eq__(self, other: object) -> bool:
            return True

        def __hash__(self) -> int:
            return 7

        def __repr__(self) -> str:
            return "own"

    assert Own(1) == 3

    assert hash(Own(1)) == 7

    assert repr(Own(1)) == "own"


def test_a_sum_in_the_room_compiles_no_class() -> None:
    program = (
        "import sys; from bpvet.command.main import main; main(); "
        "sys.exit('dataclasses' in sys.modules or 'inspect' in sys.modules)"
    )
    call = [sys.executable, "-c", program, "average", "165", "158", "160", "--method", "doppler"]
    assert subprocess.run(call, capture_output=True, check=False).returncode == 0
