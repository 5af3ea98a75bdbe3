# Turns refs/fepa_p_series.csv (FROM) into a C table (TO), so that there is one copy of the values.
file(STRINGS "${FROM}" rows REGEX "^P[0-9]+,[0-9.]+,")
set(entries "")
foreach(row IN LISTS rows)
  string(REGEX MATCH "^(P[0-9]+),([0-9.]+)," found "${row}")
  string(APPEND entries "    {\"${CMAKE_MATCH_1}\", ${CMAKE_MATCH_2}},\n")
endforeach()
if(entries STREQUAL "")
  message(FATAL_ERROR "no grades in ${FROM}")
endif()
file(WRITE "${TO}" "/* Made from refs/fepa_p_series.csv; coarsest first. */
#include \"quality_priv.h\"

const struct kb_abrasive kb_quality_fepa[] = {
${entries}};
const size_t kb_quality_fepa_count = sizeof kb_quality_fepa / sizeof *kb_quality_fepa;

const struct kb_abrasive *kb_abrasives(size_t *count) {
    *count = kb_quality_fepa_count;
    return kb_quality_fepa;
}
")
