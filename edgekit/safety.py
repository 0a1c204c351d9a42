"""The cautions shown with every result meant for the bench."""

from edgekit.display import html_list

__all__ = ["CAUTIONS", "Cautions", "cautions"]

CAUTIONS: tuple[str, ...] = (
    "Sharpen clean, sterilised instruments with a stone that is itself processed; "
    + "never a contaminated one.",
    "Wear eye protection and gloves; use a stable, well-lit bench; keep fingers behind the edge.",
    "Follow the instrument maker's instructions, local infection-control rules and a licensed "
    + "practitioner's judgement.",
    "Reprocess before the next patient.",
    "Retire a thin, cracked or bent tip regardless of what the model says: "
    + "a broken tip can be swallowed or inhaled.",
    "Model results are estimates.",
)


class Cautions:
    """The cautions, as text or as a list in a notebook."""

    def __str__(self) -> str:
        return "\n".join(f"- {line}" for line in CAUTIONS)

    __repr__ = __str__

    def _repr_html_(self) -> str:
        items = html_list(CAUTIONS, bold="Before you go to the bench")
        return f"<div role='note'>{items}</div>"


def cautions() -> Cautions:
    """The cautions of the trade that every result for the bench carries.

    Examples
    --------
    >>> import edgekit as ek
    >>> print(ek.cautions())
    - Sharpen clean, sterilised instruments ...
    """
    return Cautions()
