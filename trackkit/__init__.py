"""trackkit: read the ground, find the finished line, plan what stands under every tie."""

__version__ = "0.1.0"
