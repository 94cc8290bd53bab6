"""The three categories of defect of Directive 2014/45/EU, Article 7(2), and none of them."""

from collections.abc import Iterable
from enum import IntEnum


class Grade(IntEnum):
    """How bad a part is; a larger value is worse."""

    SOUND = 0
    MINOR = 1
    MAJOR = 2
    DANGEROUS = 3

    @property
    def word(self) -> str:
        """The word used in the API, on pages and in mails."""
        return self.name.lower()

    @classmethod
    def from_word(cls, word: str) -> "Grade":
        """The grade a word names; raises KeyError for any other word."""
        return _BY_WORD[word]


_BY_WORD = {grade.word: grade for grade in Grade}

GRADE_WORDS: tuple[str, ...] = tuple(grade.word for grade in Grade)


def worst(grades: Iterable[Grade]) -> Grade:
    """The category of the whole is that of its most serious defect (Directive 2014/45/EU, Article 7(3))."""
    return max(grades, default=Grade.SOUND)
