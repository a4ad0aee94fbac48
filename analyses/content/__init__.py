"""The document model: blocks, tables, cells with their estimates. Below everything that uses it."""
