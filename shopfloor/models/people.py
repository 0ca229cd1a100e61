"""Who signs in, and what was tried in vain."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.db import models


class Person(AbstractUser):
    """Someone who signs in with a password: office, supervisor, or a display. Operators have badges instead.

    `sessions_ended` counts how often all that was signed in was ended: each time every session of before is dead.
    """

    class Role(models.TextChoices):
        OFFICE = "office", "Office"
        SUPERVISOR = "supervisor", "Supervisor"
        DISPLAY = "display", "Display"

    role = models.CharField(max_length=12, choices=Role.choices, default=Role.OFFICE)
    sessions_ended = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return self.get_full_name() or self.username

    def get_session_auth_hash(self) -> str:
        """What a session must hold to be this person's: it follows the password and `sessions_ended`."""
        ended = f" {self.sessions_ended}" if self.sessions_ended else ""
        return super().get_session_auth_hash() + ended


class PersonChange(models.Model):
    """What was done to someone's account, by whom: never the password itself. Rows are added and never change."""

    class What(models.TextChoices):
        ADDED = "added", "Added"
        NAME = "name", "Name"
        ROLE = "role", "Role"
        PASSWORD = "password", "Password"
        CLOSED = "closed", "Closed"
        OPENED = "opened", "Opened again"

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="changes")
    what = models.CharField(max_length=10, choices=What.choices)
    before = models.CharField(max_length=160, blank=True)
    after = models.CharField(max_length=160, blank=True)
    by = models.CharField(max_length=150)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.person_id} {self.what}"


class FirstSteps(models.Model):
    """The one row of a shop that began empty: the code that opens it while nobody can sign in, and the guide's end.

    digest     of the code, keyed; empty once someone can sign in
    put_away   when and by whom the guide was told not to remind any more
    """

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    digest = models.CharField(max_length=64, blank=True)
    made_at = models.DateTimeField()
    put_away_at = models.DateTimeField(null=True, blank=True)
    put_away_by = models.CharField(max_length=150, blank=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(id=1), name="first_steps_is_one_row")]

    def __str__(self) -> str:
        return "put away" if self.put_away_at else "going on"


class SignInMisses(models.Model):
    """Wrong sign-ins in a row of one account or one station, known or not, and until when it is closed."""

    subject = models.CharField(max_length=200, unique=True)
    misses = models.PositiveIntegerField(default=0)
    closed_until = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.subject
