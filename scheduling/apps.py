from django.apps import AppConfig


class SchedulingConfig(AppConfig):
    name = "scheduling"

    def ready(self) -> None:
        # A web process that answers the bell itself needs the tasks as a worker does.
        from inspections.services.photos import ask_about_jobs
        from scheduling import tasks  # noqa: F401
        from scheduling.selectors import has_job

        ask_about_jobs(has_job)
