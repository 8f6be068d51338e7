"""How everything depends on the reference: on plain arrays, between the stacks and the job."""
