/** The API's shapes by short names. They are made from the service's own description; none is written by hand. */
import type { components } from './schema.ts';

type Shapes = components['schemas'];

export type Session = Shapes['Session'];
export type Sender = Shapes['Sender'];
export type Operation = Shapes['Operation'];
export type LineFeature = Shapes['LineFeature'];
export type CrossingFeature = Shapes['CrossingFeature'];
export type CrossingState = Shapes['CrossingState'];
export type LineState = Shapes['LineState'];
export type Construction = Shapes['Construction'];
export type Obstacle = Shapes['Obstacle'];
export type CrewPosition = Shapes['CrewPosition'];
export type Crews = Shapes['Crews'];
export type CrewNews = Shapes['CrewNews'];
export type Party = Shapes['Party'];
export type Guide = Shapes['Guide'];
export type Choice = Shapes['Choice'];
export type Item = Shapes['Item'];
export type Entry = Shapes['Entry'];
export type News = Shapes['News'];
export type Kind = Shapes['Kind'];
export type Body = Shapes['Body'];
export type Report = Shapes['Report'];
export type Receipt = Shapes['Receipt'];
export type Reason = Shapes['Reason'];
export type Queue = Shapes['Queue'];
export type Waiting = Shapes['Waiting'];
export type Order = Shapes['Order'];
export type PassFigures = Shapes['PassFigures'];
export type GivenPass = Shapes['GivenPass'];
export type ProblemDocument = Shapes['ProblemDocument'];
