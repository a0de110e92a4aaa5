from obbligato.job.keys import choice_key
from obbligato.job.status import status


def test_after_a_delivery_nothing_that_was_skipped_is_asked_for(folder):
    assert status(folder).next_step.endswith("obbligato map JOB")
    made = folder.made("deliver", "delivery/delivery_01", from_key=choice_key(folder))
    folder.save("deliver", "delivered", made=made)
    assert status(folder).next_step.endswith("obbligato account JOB")
    folder.save("choose", "by hand", overrides={1: 2})
    assert status(folder).next_step.endswith("obbligato map JOB")
