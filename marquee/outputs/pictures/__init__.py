"""Pictures of a finished plan: one module a picture, each `<name>_picture(plan)` returning a PNG's bytes."""
