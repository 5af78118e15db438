// What a facet is called: its tier and its number in the tier, the first two columns of a row.

export const facetName = ([tier, number]) => `${tier} ${number}`;
