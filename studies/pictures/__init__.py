"""The pictures that go with each command's answer, by file name, the telling one first."""

from studies.pictures.picture import Picture, Pictures

__all__ = ["Picture", "Pictures"]
