"""Users sign in with their e-mail address."""

from typing import Any

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Lower

from fleetcare.kernel.ids import new_id


class UserManager(BaseUserManager["User"]):
    def create_user(self, email: str, password: str | None = None, **fields: Any) -> "User":
        """A user with a hashed password, or with none that works."""
        user = self.model(email=email.strip().lower(), **fields)
        user.set_password(password)
        user.save()
        return user

    def get_by_natural_key(self, username: str | None) -> "User":
        return self.get(email__iexact=(username or "").strip())


class User(AbstractBaseUser):
    """A person with a login; what they may do depends on their memberships only."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    email = models.EmailField(unique=True)
    name = models.CharField(max_length=120, blank=True)
    language = models.CharField(max_length=12, default="en")
    time_zone = models.CharField(max_length=64, default="UTC")
    is_active = models.BooleanField(default=True)
    created_at = models.DateTimeField(auto_now_add=True)

    USERNAME_FIELD = "email"
    objects = UserManager()

    class Meta:
        constraints = [models.UniqueConstraint(Lower("email"), name="user_email_once")]

    def __str__(self) -> str:
        return self.name or self.email
