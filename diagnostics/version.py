"""The version that stands in every document and report."""

VERSION = "0.1.0"
