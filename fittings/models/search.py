"""By what words lines are found."""

from __future__ import annotations

from django.db import models

from fittings.models.orders import OrderLine


class SearchWord(models.Model):
    """A word of the form that `fittings.search_words` gives it."""

    word = models.CharField(max_length=60, unique=True)

    def __str__(self) -> str:
        return self.word


class SearchPlace(models.Model):
    """A line that is found by a word."""

    word = models.ForeignKey(SearchWord, on_delete=models.CASCADE, related_name="places", db_index=False)
    line = models.ForeignKey(OrderLine, on_delete=models.CASCADE, related_name="words", db_index=False)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["line", "word"], name="search_word_of_line_once")]
        indexes = [models.Index(fields=["word", "-line"], name="search_lines_by_word")]

    def __str__(self) -> str:
        return f"{self.word_id} in {self.line_id}"
