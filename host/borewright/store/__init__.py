"""The record of jobs and captures: the only room that knows the database."""

from borewright.errors import StoreError
from borewright.store.store import Store

__all__ = ["Store", "StoreError"]
