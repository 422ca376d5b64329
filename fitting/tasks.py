"""Work left to `manage.py worker`."""

from django_tasks import TaskContext, task

from fitting.services.muscle_reading import read_file


@task(takes_context=True)
def read_muscle_recording(context: TaskContext, pk: int) -> None:
    """Read one recording; see `read_file`."""
    read_file(pk, now=context.task_result.started_at)
