from django.apps import AppConfig


class SchedulingConfig(AppConfig):
    name = "scheduling"

    def ready(self) -> None:
        # A web process that answers the bell itself needs the tasks as a worker does.
        from scheduling import tasks  # noqa: F401
