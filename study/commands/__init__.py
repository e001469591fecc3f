"""The jobs: one function a use case, one transaction a writing."""
