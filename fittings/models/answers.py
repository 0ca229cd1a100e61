"""First answers, kept for a repeat."""

from __future__ import annotations

from django.db import models


class KeptAnswer(models.Model):
    """The first answer to a request that carried an Idempotency-Key, so that a repeat gets the same one."""

    who = models.CharField(max_length=150)
    key = models.CharField(max_length=200)
    body_digest = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True, blank=True)
    body = models.JSONField(null=True, blank=True)
    made_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["who", "key"], name="kept_answer_once")]

    def __str__(self) -> str:
        return self.key
