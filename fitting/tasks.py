"""Work left to `manage.py worker`."""

from django_tasks import TaskContext, task

from fitting.services.muscle_reading import read_file
from fitting.services.plan_run import run_plan


@task(takes_context=True)
def read_muscle_recording(context: TaskContext, pk: int) -> None:
    """Read one recording; see `read_file`."""
    read_file(pk, now=context.task_result.started_at)


@task(takes_context=True)
def work_out_plan(context: TaskContext, pk: int) -> None:
    """Work out one proposed plan; see `run_plan`."""
    run_plan(pk, now=context.task_result.started_at)
