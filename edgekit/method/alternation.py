"""Methods used in turn from session to session, such as the sides three times, then the face."""

from dataclasses import dataclass

from edgekit.checks import count, instance
from edgekit.errors import BadArgument
from edgekit.method.method import Method

__all__ = ["Alternation"]


@dataclass(frozen=True, kw_only=True)
class Alternation:
    """A pattern of methods, repeated over a life; `live` and `compare` take it like a method.

    Parameters
    ----------
    name : str
    methods : tuple of Method
        The method of session i is number i modulo their count.

    Examples
    --------
    >>> import edgekit as ek
    >>> side, face = ek.methods.held(15.0), ek.methods.face_honing()
    >>> turns = ek.Alternation(name="one in three", methods=(side, side, face))
    >>> [turns.at(i).name for i in range(4)] == [side.name, side.name, face.name, side.name]
    True
    """

    name: str
    methods: tuple[Method, ...]

    def __post_init__(self) -> None:
        instance("name", self.name, str, "Give the name as text.")
        instance("methods", self.methods, tuple, "Give a tuple of Method.")
        if not self.methods:
            raise BadArgument("an alternation needs methods", (), "Give a tuple of Method.")
        for item in self.methods:
            instance("each of methods", item, Method, "Give Method objects.")

    @property
    def planes(self) -> int:
        """Seatings on one edge in a session, the largest number among its methods."""
        return max(method.planes for method in self.methods)

    def at(self, turn: int) -> Method:
        """The method of session number `turn`, from 0."""
        return self.methods[count("turn", turn, 0) % len(self.methods)]

    @property
    def assumptions(self) -> tuple[str, ...]:
        """The order of turns, then what each method assumes."""
        order = ", then ".join(method.name for method in self.methods)
        distinct = [m for i, m in enumerate(self.methods) if m not in self.methods[:i]]
        return (order, *(f"{m.name}: {line}" for m in distinct for line in m.assumptions))

    def __repr__(self) -> str:
        return f"Alternation({self.name!r}; print it for what it assumes)"

    def __str__(self) -> str:
        return "\n  ".join((self.name, *self.assumptions))
