"""A case as a maker asks for it: its [case] table, and the tables of parts and fits that follow from it.

A piece file that names a pattern needs no parts or fits of its own; those it gives are laid over the
pattern's, key by key. `without` names what the pattern would make and this piece doesn't have.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from model.wood.design.part_request import HomeRange
from model.wood.design.patterns import pattern_named
from model.wood.design.patterns.base import Case, CasePattern, CaseWood, MadeFit, MadePart
from model.wood.design.patterns.shop_figures import FIGURES, ShopFigures, ShopUnits
from model.wood.design.setting_out import HOME_MC_PCT
from model.wood.errors import BadInput
from model.wood.material.member import Finish, doubt_from, finish_document, finish_from, ring_angle_from
from model.wood.material.ring_angle import cut_document
from model.wood.material.species import Species, find_species
from model.wood.piece_table import Table, near_matches


@dataclass(frozen=True)
class WoodAsked:
    """The wood of a case: species and ring angle [°]."""

    species: Species
    ring_angle_deg: float


@dataclass(frozen=True)
class CaseRequest:
    """What a [case] table says.

    Attributes
    ----------
    pattern : CasePattern
    shop : str
        "inch" or "metric": whose usual figures.
    sizes : mapping
        Lengths [mm] and counts; every size of the pattern.
    choices : mapping
        Every choice of the pattern.
    show, inside : WoodAsked
        Of what is seen; of backs, drawer bottoms and inside shelves.
    mc_pct : float
        Of the stock today [%], `mc_basis` measured or assumed.
    mc_doubt_pct : float, optional
        How far that may be out [points]: grooves, gaps and slots are made for it, and every advice on them
        counts with it. Left out, the shop's own reserves stand for it.
    finish : Finish
        Of what is seen; what is inside stays bare.
    finished : str
        Before or after assembly.
    home_mc_pct : (float, float)
        What wood comes to in its home over the year [%].
    figures : mapping
        The shop's own figures [mm], in place of the usual.
    without : tuple of str
        Parts and fits of the pattern that this piece doesn't have.
    glued : tuple of str
        Fits that were glued across after all, where the pattern leaves them free.
    """

    pattern: CasePattern
    shop: ShopUnits
    sizes: Mapping[str, float]
    choices: Mapping[str, str]
    show: WoodAsked
    inside: WoodAsked
    mc_pct: float
    mc_basis: str = "measured"
    mc_doubt_pct: float | None = None
    finish: Finish = field(default_factory=Finish)
    finished: str = "before assembly"
    home_mc_pct: tuple[float, float] = HOME_MC_PCT
    figures: Mapping[str, float] = field(default_factory=dict)
    without: tuple[str, ...] = ()
    glued: tuple[str, ...] = ()

    def case(self, parts: Mapping[str, Any] | None = None) -> Case:
        """The case made; wood, cut and moisture of a part's own table count in its rules.

        Raises
        ------
        BadInput
            For what can't be built.
        """
        doubt_pct = self.mc_doubt_pct or 0.0
        woods: dict[str, CaseWood] = {
            kind: CaseWood(wood.species, wood.ring_angle_deg, self.mc_pct, doubt_pct)
            for kind, wood in (("show", self.show), ("inside", self.inside))
        }
        for name, values in (parts or {}).items():
            if not isinstance(values, Mapping):
                continue
            table = Table(values, "", f"part.{name}", "a part")
            usual = woods["show"]
            species = find_species(values["species"]) if "species" in values else usual.species
            own_cut = "cut" in values or "ring_angle_deg" in values
            angle = ring_angle_from(table, False) if own_cut else usual.ring_angle_deg
            mc_pct = table.number("mc_pct", "moisture content", 0.0, 30.0, usual.mc_pct, "%")
            own_doubt = doubt_from(table)
            if own_cut or not {"species", "mc_pct", "mc_doubt_pct"}.isdisjoint(values):
                own_pct = doubt_pct if own_doubt is None else own_doubt
                woods[str(name)] = CaseWood(species, angle, mc_pct, own_pct)
        shop = ShopFigures(self.shop, self.figures)
        made = Case(self.sizes, self.choices, woods, self.home_mc_pct, shop)
        self.pattern.make(made)
        return made

    def tables(self, parts: Mapping[str, Any] | None = None) -> dict[str, dict[str, Any]]:
        """The [part.…] and [fit.…] tables of the case made, lengths in mm."""
        made = self.case(parts)
        found: dict[str, dict[str, Any]] = {"part": {}, "fit": {}}
        for name, part in made.parts.items():
            if name in self.without:
                continue
            wood = self.show if part.wood == "show" else self.inside
            table: dict[str, Any] = {
                "species": wood.species.name,
                **cut_document(wood.ring_angle_deg),
                "width": part.width_mm,
                "length": part.length_mm,
                "mc_pct": self.mc_pct,
                "thickness": part.thickness_mm,
                "alike": part.alike,
            }
            if part.role:
                table["role"] = part.role
            if part.wood == "show" and self.finish != Finish():
                table["finish"] = finish_document(self.finish)
            if self.mc_basis != "measured":
                table["mc_basis"] = self.mc_basis
            if self.mc_doubt_pct is not None:
                table["mc_doubt_pct"] = self.mc_doubt_pct
            found["part"][name] = table
        for name, fit in made.fits.items():
            if name in self.without:
                continue
            of_fit: dict[str, Any] = {"kind": fit.kind, **fit.fields}
            if name in self.glued:
                of_fit = glued_across(fit, made.parts)
            if of_fit["kind"] in ("panel-in-groove", "board-back"):
                of_fit["finished"] = self.finished
            of_fit["alike"] = fit.alike
            found["fit"][name] = of_fit
        return found

    def document(self) -> dict[str, Any]:
        """The [case] table: lengths in mm, every size and choice said."""
        table: dict[str, Any] = {"pattern": self.pattern.key, "shop": self.shop}
        table |= {
            key: int(v) if self.pattern.size_named(key).is_count else v for key, v in self.sizes.items()
        }
        table |= self.choices
        table |= {"species": self.show.species.name, **cut_document(self.show.ring_angle_deg)}
        if self.inside != self.show:
            table["inside_wood"] = {
                "species": self.inside.species.name,
                **cut_document(self.inside.ring_angle_deg),
            }
        table |= {"mc_pct": self.mc_pct, "mc_basis": self.mc_basis, "finished": self.finished}
        if self.mc_doubt_pct is not None:
            table["mc_doubt_pct"] = self.mc_doubt_pct
        if self.finish != Finish():
            table["finish"] = finish_document(self.finish)
        table["home_mc_pct"] = list(self.home_mc_pct)
        if self.figures:
            table["figures"] = dict(self.figures)
        for key, names in (("without", self.without), ("glued", self.glued)):
            if names:
                table[key] = list(names)
        return table


def can_be_glued(fit: MadeFit) -> bool:
    """Whether this is a fit that somebody might glue across the grain, to the wood's harm."""
    return fit.kind in (
        "cross-grain-fixing",
        "top-on-fasteners",
        "breadboard-end",
        "panel-in-groove",
        "wide-tenon",
    )


def glued_across(fit: MadeFit, parts: Mapping[str, MadePart]) -> dict[str, Any]:
    """The table of a fit that was glued across instead: what it would hold, it holds fast."""
    part = fit.fields.get("part")
    if part is None or not can_be_glued(fit):
        raise BadInput("", "glued", "must name fits that can be glued across the grain", fit.name)
    if fit.kind == "wide-tenon":
        return {"kind": fit.kind, "part": part, "tenons": "one", "tenon_width": parts[part].width_mm}
    distance = fit.fields.get("distance") or fit.fields.get("fastener_distance")
    held = distance if fit.fields.get("fixed") != "centre" and distance else parts[part].width_mm
    across = {"top-on-fasteners": "frame", "breadboard-end": "end", "panel-in-groove": "frame"}
    return {
        "kind": "cross-grain-fixing",
        "part": part,
        "across": fit.fields.get("across") or across[fit.kind],
        "fixing": "tight",
        "distance": held,
    }


def request_from_document(values: object, where: str = "") -> CaseRequest:
    """A case asked for, from its [case] table; a size or choice left out is the usual one.

    Raises
    ------
    BadInput
        For a missing or unknown key, a size outside its pattern's limits.
    """
    table = Table(values, where, "case", "a case")
    pattern = pattern_named(table.take("pattern", "which case"), where)
    shop: ShopUnits = table.choice("shop", "whose usual figures", ("inch", "metric"), "inch")
    own = table.take("figures", "the shop's own figures", {})
    figures_table = Table(own, where, "case.figures", "a shop's figures")
    said = {name: figures_table.length(name, row[0], None) for name, row in FIGURES.items()}
    figures_table.refuse_the_rest()
    figures = {name: value for name, value in said.items() if value is not None}
    usual = ShopFigures(shop, figures)
    sizes: dict[str, float] = {}
    for size in pattern.sizes:
        default = size.bounds(usual)[0]
        if size.is_count:
            value = float(table.count(size.key, size.meaning, int(default), least=0))
        else:
            value = table.length(size.key, size.meaning, default, zero=True)
        try:
            sizes[size.key] = pattern.check_size(size, value, usual)
        except BadInput as problem:
            raise BadInput(where, table.key(size.key), problem.rule, problem.got) from problem
    choices = {
        choice.key: table.choice(choice.key, choice.meaning, choice.options, choice.options[0])
        for choice in pattern.choices
    }
    show = _wood(table, where)
    inside_table = table.take("inside_wood", "wood of backs and drawer bottoms", None)
    inside = show
    if inside_table is not None:
        inner = Table(inside_table, where, "case.inside_wood", "a wood")
        inside = _wood(inner, where)
        inner.refuse_the_rest()
    mc_pct = table.number("mc_pct", "moisture content of the stock today", 0.0, 30.0, unit="%")
    request = CaseRequest(
        pattern=pattern,
        shop=shop,
        sizes=sizes,
        choices=choices,
        show=show,
        inside=inside,
        mc_pct=mc_pct,
        mc_basis=table.choice("mc_basis", "how mc_pct is known", ("measured", "assumed"), "measured"),
        mc_doubt_pct=doubt_from(table),
        finish=finish_from(table.take("finish", "finish of what is seen", None), where, table.key("finish")),
        finished=table.choice(
            "finished",
            "when panels had their finish",
            ("before assembly", "after assembly"),
            "before assembly",
        ),
        home_mc_pct=_home(table.take("home_mc_pct", "dry and wet end of its home", None), table),
        figures=figures,
        without=tuple(str(name) for name in table.take("without", "what this piece doesn't have", ())),
        glued=tuple(str(name) for name in table.take("glued", "what was glued across", ())),
    )
    table.refuse_the_rest()
    return request


def _wood(table: Table, where: str) -> WoodAsked:
    name = table.text("species", "the wood, by its trade name")
    return WoodAsked(find_species(name, where, table.key("species")), ring_angle_from(table, False))


def _home(values: object, table: Table) -> tuple[float, float]:
    if values is None:
        return HOME_MC_PCT
    if not isinstance(values, Sequence) or len(values) != 2:
        raise table.bad("home_mc_pct", "must be two moisture contents, as [6, 11]", values)
    home = HomeRange(float(values[0]), float(values[1]), name=table.path)
    return home.mc_range_pct


def expanded(document: Mapping[str, Any], where: str = "") -> dict[str, Any]:
    """A piece's document with the parts and fits of its [case], its own laid over them key by key.

    Raises
    ------
    BadInput
        For a [case] that can't be made, or `without` a name the pattern doesn't make.
    """
    if document.get("case") is None:
        return dict(document)
    request = request_from_document(document["case"], where)
    own_parts = document.get("part") or {}
    try:
        whole = CaseRequest(**{**vars(request), "without": ()}).tables(own_parts)
    except BadInput as problem:
        raise BadInput(problem.where or where, f"case.{problem.what}", problem.rule, problem.got) from problem
    names = [*whole["part"], *whole["fit"]]
    for key in ("without", "glued"):
        for name in getattr(request, key):
            if name not in names:
                raise BadInput(
                    where, f"case.{key}", f"must name what it makes{near_matches(name, names)}", name
                )
    piece = {**document["piece"], "case": request.document()} if "piece" in document else {}
    laid: dict[str, Any] = {"piece": piece} if piece else {}
    for kind in ("part", "fit"):
        own = document.get(kind) or {}
        made = {name: table for name, table in whole[kind].items() if name not in request.without}
        for name, table in own.items():
            if isinstance(table, Mapping) and name in made:
                under = dict(made[name])
                for either, other in (("cut", "ring_angle_deg"), ("ring_angle_deg", "cut")):
                    if either in table:
                        under.pop(other, None)
                made[name] = {**under, **table}
            else:
                made[name] = table
        laid[kind] = made
    return laid


def folded(
    document: Mapping[str, Any], canonical: Callable[[dict[str, Any]], dict[str, Any]]
) -> dict[str, Any]:
    """The opposite of `expanded`: what a file has to say beside its [case].

    `canonical` puts the tables made into the form of a written document, so that they can be compared.
    """
    case = document["piece"].get("case")
    if case is None:
        return dict(document)
    request = request_from_document(case)
    made_here = CaseRequest(**{**vars(request), "without": ()}).tables(document.get("part"))
    whole = canonical({"piece": {"name": "case"}, **made_here})
    own = {kind: document.get(kind) or {} for kind in ("part", "fit")}
    without = {
        name
        for kind, tables in own.items()
        for name, made in whole[kind].items()
        if name not in tables or set(made) - set(tables[name])
    }
    piece = {key: value for key, value in document["piece"].items() if key != "case"}
    said: dict[str, Any] = {"piece": piece, "case": request.document()}
    said["case"].pop("without", None)
    if without:
        said["case"]["without"] = sorted(without)
    for kind, tables in own.items():
        said[kind] = {}
        for name, table in tables.items():
            made = {} if name in without else whole[kind].get(name, {})
            beside = {key: value for key, value in table.items() if key not in made or made[key] != value}
            if beside:
                said[kind][name] = beside
        if not said[kind]:
            del said[kind]
    return said
