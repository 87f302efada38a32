"""What has to be said beside the sizes of a piece: how its figures are known, and which parts cup."""

from collections.abc import Iterable, Mapping
from typing import Any

from model.wood.material.finish import BARE, FinishFilm, permeance_of
from model.wood.material.member import Member
from model.wood.material.one_face import cups
from model.wood.material.species_record import Species
from model.wood.reason import Reason


def cautions(members: Iterable[Member]) -> list[Reason]:
    """What to say of some parts, each said once: how woods and finishes are known, then what cups."""
    members = tuple(members)
    known = [caution for member in members for caution in member.species.cautions]
    known += [film.caution for member in members for film in _films(member) if film.caution]
    once = {str(caution): caution for caution in known}
    return [*once.values(), *cups(members)]


def wood_provenance(species: Species) -> dict[str, str]:
    """How a wood's movement is known, for a document: the provenance and the source."""
    fact = species.facts["c_tangential_per_pct"]
    return {"wood": species.name, "movement": species.movement_provenance, "source": fact.source}


def provenance(members: Iterable[Member]) -> Mapping[str, dict[str, Any]]:
    """How the figures of each part are known: its wood's movement, and the finish of each face."""
    found: dict[str, dict[str, Any]] = {}
    for member in members:
        faces = dict(zip(("face", "back"), _films(member), strict=True))
        found[member.name] = {
            **wood_provenance(member.species),
            **{face: None if film.name == BARE else film.provenance for face, film in faces.items()},
        }
    return found


def _films(member: Member) -> list[FinishFilm]:
    finish = member.finish
    return [
        permeance_of(finish.face, finish.face_coats or 1),
        permeance_of(finish.back, finish.back_coats or 1),
    ]
