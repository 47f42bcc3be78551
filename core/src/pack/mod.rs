//! Items on strips on cartridges with the least tape: the planner proper, integers only.
