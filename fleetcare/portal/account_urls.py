"""Addresses of signing in and of one's own account; the names `account_…`, `mfa_…` are those the library asks for."""

from allauth.account import views as account
from allauth.mfa.base import views as second_step
from allauth.mfa.recovery_codes import views as codes
from allauth.mfa.webauthn import views as passkeys
from allauth.usersessions import views as sessions
from django.urls import path, re_path
from django.views.decorators.http import require_POST
from django.views.generic import RedirectView

from fleetcare.portal.web import accounts, well_known

_sign_out = require_POST(account.logout)
_KEY = "account/passkeys/<int:pk>/"

urlpatterns = [
    path("sign-in/", account.login, name="sign-in"),
    path("sign-in/", account.login, name="account_login"),
    path("sign-in/passkey/", passkeys.login_webauthn, name="mfa_login_webauthn"),
    path("sign-in/second/", second_step.authenticate, name="mfa_authenticate"),
    path("sign-in/inactive/", account.account_inactive, name="account_inactive"),
    path("sign-out/", _sign_out, name="sign-out"),
    path("sign-out/", _sign_out, name="account_logout"),
    path("sign-up/", account.signup, name="account_signup"),
    path("password/reset/", account.password_reset, name="account_reset_password"),
    path("password/reset/sent/", account.password_reset_done, name="account_reset_password_done"),
    re_path(
        r"^password/reset/(?P<uidb36>[0-9A-Za-z]+)-(?P<key>.+)/$",
        account.password_reset_from_key,
        name="account_reset_password_from_key",
    ),
    path("password/changed/", account.password_reset_from_key_done, name="account_reset_password_from_key_done"),
    path("account/", accounts.account, name="account"),
    path("account/again/", account.reauthenticate, name="account_reauthenticate"),
    path("account/again/code/", second_step.reauthenticate, name="mfa_reauthenticate"),
    path("account/again/passkey/", passkeys.reauthenticate_webauthn, name="mfa_reauthenticate_webauthn"),
    path("account/email/", accounts.email, name="account_email"),
    path("account/email/sent/", account.email_verification_sent, name="account_email_verification_sent"),
    re_path(r"^account/email/confirm/(?P<key>[-:\w]+)/$", account.confirm_email, name="account_confirm_email"),
    path("account/password/", account.password_change, name="account_change_password"),
    path("account/password/set/", account.password_set, name="account_set_password"),
    path("account/passkeys/", passkeys.list_webauthn, name="mfa_list_webauthn"),
    path("account/passkeys/", passkeys.list_webauthn, name="mfa_index"),
    path("account/passkeys/add/", passkeys.add_webauthn, name="mfa_add_webauthn"),
    path(f"{_KEY}remove/", passkeys.remove_webauthn, name="mfa_remove_webauthn"),
    path(f"{_KEY}edit/", passkeys.edit_webauthn, name="mfa_edit_webauthn"),
    path("account/codes/", codes.view_recovery_codes, name="mfa_view_recovery_codes"),
    path("account/codes/make/", codes.generate_recovery_codes, name="mfa_generate_recovery_codes"),
    path("account/codes/download/", codes.download_recovery_codes, name="mfa_download_recovery_codes"),
    path("account/sessions/", sessions.list_usersessions, name="usersessions_list"),
    path(".well-known/security.txt", well_known.security_txt),
    path(".well-known/change-password", RedirectView.as_view(pattern_name="account_change_password")),
]
