"""Frozen dataclasses that load at once: what is compiled of a class is made when it is wanted.

The standard library writes and compiles source for each dataclass whenever its module is loaded,
a millisecond a class, and loads its means of inspection for it; a command loads two hundred
classes and makes few objects of most. Here a class knows its fields' names and defaults, and the
first objects are made from these. What the standard library makes of it (``__init__``, what
`dataclasses.fields` gives, what is printed) is made by the standard library at its first use, and
``__init__`` when many objects have been made. To a type checker, and to `dataclasses.fields`,
`dataclasses.asdict`, `dataclasses.replace` and `dataclasses.is_dataclass`, these are dataclasses
as any other. Standard library only.
"""

from __future__ import annotations

from operator import attrgetter

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from dataclasses import dataclass as dataclass
    from dataclasses import field as field
    from dataclasses import replace as replace
    from typing import Any, NoReturn

#: As many objects cost less when they are made plainly than compiling ``__init__`` does.
MOST_PLAIN = 300
_MISSING: Any = object()
_FIELDS, _DEFAULTS = "__dataclass_fields__", ("default", "default_factory")

_OPTIONS = {*_DEFAULTS, "repr", "compare", "metadata", "kw_only"}


class _Asked:
    """A field as a class body gives it: `options` as `dataclasses.field` takes them."""

    __slots__ = ("options",)

    def __init__(self, options: dict[str, Any]) -> None:
        self.options = options


class _Plan:
    """The fields of a class, and the standard library's dataclass of the same fields.

    Parameters
    ----------
    owner : type
    asked : dict of str to dict
        By the field's name the options of `dataclasses.field`, in the order of the fields.
    options : dict
        `eq` and `repr`, as `dataclasses.dataclass` takes them.
    """

    def __init__(
        self, owner: type, asked: dict[str, dict[str, Any]], options: dict[str, bool]
    ) -> None:
        self.owner, self.asked, self.options = owner, asked, options
        self.positional = tuple(name for name in asked if not asked[name].get("kw_only"))
        self.defaults = {n: one["default"] for n, one in asked.items() if "default" in one}
        self.factories = {
            n: one["default_factory"] for n, one in asked.items() if "default_factory" in one
        }
        self._names = {"": tuple(asked)}
        self.made = 0
        self._standard: Any = None

    @property
    def standard(self) -> Any:
        """The standard library's dataclass, made at its first use."""
        if self._standard is None:
            import dataclasses

            owner = self.owner
            body: dict[str, Any] = {
                "__module__": owner.__module__,
                "__qualname__": owner.__qualname__,
                "__annotations__": {name: self._annotation(name) for name in self.asked},
            }
            body |= {name: dataclasses.field(**options) for name, options in self.asked.items()}
            if hasattr(owner, "__post_init__"):
                body["__post_init__"] = owner.__post_init__
            plain = type(owner.__name__, (), body)
            self._standard = dataclasses.dataclass(frozen=True, **self.options)(plain)
        return self._standard

    def _annotation(self, name: str) -> Any:
        return next(
            base.__annotations__[name]
            for base in self.owner.__mro__
            if _FIELDS in base.__dict__ and name in base.__annotations__
        )

    def names(self, wanted: str) -> tuple[str, ...]:
        """Return the names of the fields, as `field_names` does."""
        if wanted not in self._names:
            options = ((name, one.get("metadata", {}) | one) for name, one in self.asked.items())
            self._names[wanted] = tuple(name for name, one in options if one.get(wanted, True))
        return self._names[wanted]

    def values(self, args: tuple[Any, ...], given: dict[str, Any]) -> dict[str, Any] | None:
        """Return the value of each field of a new object; None where the call is not right."""
        placed = self.positional[: len(args)]
        if len(placed) < len(args) or not given.keys().isdisjoint(placed):
            return None
        found = {**self.defaults, **dict(zip(placed, args, strict=True)), **given}
        for name, make in self.factories.items():
            if name not in found:
                found[name] = make()
        return found if found.keys() == self.asked.keys() else None

    def init(self) -> Callable[..., None]:
        """Return ``__init__``, which gives way to the compiled one after so many objects."""
        keep = object.__setattr__
        names = tuple(self.asked)
        follows = hasattr(self.owner, "__post_init__")

        def __init__(self_: Any, /, *args: Any, **given: Any) -> None:
            self.made += 1
            values = None if self.made > MOST_PLAIN else self.values(args, given)
            if values is None:
                compiled = self.standard.__init__  # tells also what is wrong with the call
                if self.made > MOST_PLAIN:
                    # A checker distrusts what replaces a method; this one takes the same fields.
                    self.owner.__init__ = compiled  # type: ignore[misc]
                compiled(self_, *args, **given)
                return
            for name in names:
                keep(self_, name, values[name])
            if follows:
                self_.__post_init__()

        return __init__


class _Standard:
    """An attribute of a class as the standard library's dataclass has it, made when looked for."""

    __slots__ = ("name", "plan")

    def __init__(self, plan: _Plan, name: str) -> None:
        self.plan, self.name = plan, name

    def __get__(self, instance: Any, owner: type) -> Any:
        return getattr(self.plan.standard, self.name)


class _Signature(_Standard):
    """How a class is called, for `inspect.signature`; its objects and heirs have none of it."""

    __slots__ = ()

    def __get__(self, instance: Any, owner: type) -> Any:
        if instance is not None or owner is not self.plan.owner:
            raise AttributeError(self.name)
        from inspect import signature

        return signature(self.plan.standard)


def _asked(owner: type, kw_only: bool) -> dict[str, dict[str, Any]]:
    """Return the options of each field by its name, those of the bases before the class's own."""
    found: dict[str, dict[str, Any]] = {}
    for base in owner.__mro__[-1:0:-1]:
        known = base.__dict__.get(_FIELDS)
        if known is not None:
            found |= known.plan.asked  # a base of the standard library's making has no plan
    for name, annotation in owner.__annotations__.items():
        if str(annotation).startswith("ClassVar"):
            continue
        options = {"kw_only": True} if kw_only else {}
        value = owner.__dict__.get(name, _MISSING)
        if isinstance(value, _Asked):
            options |= value.options
            if "default" in options:
                setattr(owner, name, options["default"])
            else:
                delattr(owner, name)
        elif value is not _MISSING:
            options["default"] = value
        found[name] = options
    return found


def _frozen(self: object, name: str, *value: object) -> NoReturn:
    from dataclasses import FrozenInstanceError

    raise FrozenInstanceError(f"cannot {'assign to' if value else 'delete'} field {name!r}")


def _add_equality(owner: type, names: tuple[str, ...]) -> None:
    """Objects of a class are equal, and have one hash, where the fields named are equal."""
    content = attrgetter(*names) if names else lambda _: ()

    def __eq__(self: object, other: object) -> bool:
        if type(other) is not type(self):
            return NotImplemented
        return bool(content(self) == content(other))

    def __hash__(self: object) -> int:
        return hash(content(self))

    # The class of a decorator is any: a checker cannot know that these are its methods.
    if "__eq__" not in owner.__dict__:
        owner.__eq__ = __eq__  # type: ignore[assignment]
    if owner.__dict__.get("__hash__") is None:
        owner.__hash__ = __hash__  # type: ignore[assignment]


if not TYPE_CHECKING:

    def dataclass(*, frozen, eq=True, repr=True, kw_only=False):
        """Return what makes a class a frozen dataclass; options as `dataclasses.dataclass` has."""
        if not frozen:
            raise TypeError("What can change is a dataclass of the standard library.")

        def made(owner):
            plan = _Plan(owner, _asked(owner, kw_only), {"eq": eq, "repr": repr})
            ready = {
                "__init__": plan.init(),
                "__setattr__": _frozen,
                "__delattr__": _frozen,
                "__match_args__": plan.positional,
                "__replace__": replace,  # of `copy.replace`
            }
            if repr:
                ready["__repr__"] = lambda self: plan.standard.__repr__(self)
            for name, value in ready.items():
                if name not in owner.__dict__:
                    setattr(owner, name, value)
            for name in (_FIELDS, "__dataclass_params__"):
                setattr(owner, name, _Standard(plan, name))
            if eq:
                _add_equality(owner, field_names(owner, "compare"))
            owner.__signature__ = _Signature(plan, "__signature__")
            return owner

        return made

    def field(**options):
        """Return a field with options as `dataclasses.field` takes them, `init` and `hash` not."""
        if strange := options.keys() - _OPTIONS:
            raise TypeError(f"A field has no {min(strange)} here.")
        return _Asked(options)

    def replace(value, /, **changes):
        """Return a frozen dataclass with some fields changed; as `dataclasses.replace`."""
        return type(value)(**{n: getattr(value, n) for n in field_names(value)} | changes)


def is_dataclass(value: object) -> bool:
    """Return whether this is an object of a dataclass, or one itself; as the standard library."""
    kind = value if isinstance(value, type) else type(value)
    return any(_FIELDS in base.__dict__ for base in kind.__mro__)


def field_names(value: object, wanted: str = "") -> tuple[str, ...]:
    """Return the names of the fields of a dataclass, of which nothing is compiled for it.

    Parameters
    ----------
    value : object
        Of such a class, or the class; the standard library's dataclasses are taken too.
    wanted : str
        ``compare`` or ``repr``, or a name in the metadata: without the fields where it is false.

    Raises
    ------
    TypeError
        For anything else.
    """
    kind = value if isinstance(value, type) else type(value)
    known: Any = next((b.__dict__[_FIELDS] for b in kind.__mro__ if _FIELDS in b.__dict__), None)
    if isinstance(known, _Standard):
        return known.plan.names(wanted)
    if known is None:
        raise TypeError(f"{kind.__name__} is no dataclass.")
    return tuple(
        name
        for name, one in known.items()
        if not wanted or getattr(one, wanted, one.metadata.get(wanted, True))
    )


def required_names(kind: type) -> tuple[str, ...]:
    """Return the names of the fields of a frozen dataclass that have no default."""
    asked = kind.__dict__[_FIELDS].plan.asked
    return tuple(n for n, one in asked.items() if one.keys().isdisjoint(_DEFAULTS))
