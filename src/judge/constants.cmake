# Turns refs/lever_constants.csv (SETS) and refs/densities.csv (DENSITIES) into a C table (TO), so
# that there is one copy of the values.
set(number "([0-9.]+)")
set(tail "\"([^\"]*)\",(read|memory-unverified|computed)$")

set(sets "")
file(STRINGS "${SETS}" rows REGEX "^[0-9]")
foreach(row IN LISTS rows)
  if(NOT row MATCHES "^([^,]+),${number},${number},${number},${tail}")
    message(FATAL_ERROR "${SETS}: cannot be read: ${row}")
  endif()
  set(carbon "${CMAKE_MATCH_2}, ${CMAKE_MATCH_3}, ${CMAKE_MATCH_4}")
  string(APPEND sets "    {\"${CMAKE_MATCH_1}\", ${carbon},\n"
                     "     \"${CMAKE_MATCH_5}\", \"${CMAKE_MATCH_6}\"},\n")
endforeach()

set(densities "")
file(STRINGS "${DENSITIES}" rows REGEX "^[a-z_]+,[0-9]")
foreach(row IN LISTS rows)
  if(NOT row MATCHES "^([a-z_]+),${number},${tail}")
    message(FATAL_ERROR "${DENSITIES}: cannot be read: ${row}")
  endif()
  string(APPEND densities "    .${CMAKE_MATCH_1} = ${CMAKE_MATCH_2},\n")
endforeach()
if(sets STREQUAL "" OR densities STREQUAL "")
  message(FATAL_ERROR "no constants in ${SETS} or ${DENSITIES}")
endif()

file(WRITE "${TO}" "/* Made from refs/: lever_constants.csv (default set first), densities.csv. */
#include \"judge_priv.h\"

const struct kb_carbon_set kb_judge_sets[] = {
${sets}};
const size_t kb_judge_set_count = sizeof kb_judge_sets / sizeof *kb_judge_sets;
const struct kb_judge_densities kb_judge_densities = {
${densities}};
")
