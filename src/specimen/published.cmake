# Turns tables of the folder REFS into a C file (TO), so that there is one copy of the values:
# e562_grid.csv, nodularity_rules.csv, specimen_rules.csv.
function(rows_of table first_cell out)
  file(STRINGS "${REFS}/${table}" rows REGEX "^${first_cell},[0-9]")
  if(rows STREQUAL "")
    message(FATAL_ERROR "${REFS}/${table}: no rows")
  endif()
  set(${out} "${rows}" PARENT_SCOPE)
endfunction()
set(number "([0-9.]+)")

set(grids "")
rows_of(e562_grid.csv "[0-9.]+" rows)
foreach(row IN LISTS rows)
  string(REGEX MATCH "^${number},[0-9.]+,([0-9]+)," found "${row}")
  string(APPEND grids "    {${CMAKE_MATCH_1}, ${CMAKE_MATCH_2}},\n")
endforeach()

set(credits "")
rows_of(nodularity_rules.csv "[A-Z0-9 -]+" rows)
foreach(row IN LISTS rows)
  string(REGEX MATCH "^([A-Z0-9 -]+),${number},${number},${number}," found "${row}")
  if(found STREQUAL "")
    message(FATAL_ERROR "nodularity_rules.csv: cannot be read: ${row}")
  endif()
  set(numbers "${CMAKE_MATCH_2}, ${CMAKE_MATCH_3}, ${CMAKE_MATCH_4}")
  string(APPEND credits "    {\"${CMAKE_MATCH_1}\", ${numbers}},\n")
endforeach()

set(rules "")
rows_of(specimen_rules.csv "[a-z0-9_]+" rows)
foreach(row IN LISTS rows)
  string(REGEX MATCH "^([a-z0-9_]+),${number}," found "${row}")
  string(APPEND rules "    .${CMAKE_MATCH_1} = ${CMAKE_MATCH_2},\n")
endforeach()

file(WRITE "${TO}" "/* Made from refs/: e562_grid.csv, nodularity_rules.csv, specimen_rules.csv. */
#include \"specimen_priv.h\"

const struct kb_specimen_grid kb_specimen_grids[] = {
${grids}};
const size_t kb_specimen_grid_count = sizeof kb_specimen_grids / sizeof *kb_specimen_grids;

const struct kb_specimen_credit kb_specimen_credits[] = {
${credits}};
const size_t kb_specimen_credit_count = sizeof kb_specimen_credits / sizeof *kb_specimen_credits;

const struct kb_specimen_rules kb_specimen_rules = {
${rules}};
")
