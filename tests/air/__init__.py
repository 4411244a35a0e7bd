"""Tests of radiocheck.air."""
